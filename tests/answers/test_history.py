"""The history of a link, and which link a half-remembered label means."""

import pytest
from answers_making import CONFLICT, COPY, JOB, SITE, STANDS

from archive.answers.history import history
from archive.answers.link import open_link
from archive.errors import Trouble


def test_every_test_event_and_grading_run_stands_in_it_newest_first(troubles):
    link = open_link(troubles, STANDS)
    entries = history(troubles, link)
    kinds = [e["kind"] for e in entries]
    assert kinds == [*("assessment",) * 2, "job", "attach", "deposit", "retest", "deposit", "test"]
    assert [e["entry"] for e in entries] == sorted((e["entry"] for e in entries), reverse=True)
    assert {e["by"] for e in entries} == {"H. Brume", "A. Quillfeather"}
    assert all("pass against tia-568-c.2" in e["what"] for e in entries if e["kind"] == "assessment")


def test_the_latest_test_stands_and_says_why(troubles):
    entries = history(troubles, open_link(troubles, STANDS))
    standing = [e for e in entries if e["standing"]]
    assert [e["kind"] for e in standing] == ["retest"] and "latest of 2 complete tests" in standing[0]["what"]


def test_grading_runs_over_other_links_are_left_out(troubles):
    assert "assessment" not in [e["kind"] for e in history(troubles, open_link(troubles, COPY))]


def test_copied_curves_and_conflicts_are_kinds_of_their_own(troubles):
    assert "copied curves" in [e["kind"] for e in history(troubles, open_link(troubles, COPY))]
    assert "conflict" in [e["kind"] for e in history(troubles, open_link(troubles, CONFLICT))]


@pytest.mark.parametrize("typed", ["1A-A02", "1a a02", "1A.A2", "A02"])
def test_a_half_remembered_label_finds_its_link(troubles, typed):
    assert open_link(troubles, typed).label == "1A-A02"


def test_several_that_may_be_meant_are_told(troubles):
    with pytest.raises(Trouble, match="links may be meant") as caught:
        open_link(troubles, "1A-A0")
    assert "1A-A02" in str(caught.value) and "1A-A03" in str(caught.value)


def test_look_alikes_are_two_links_and_exactly_so_wins(troubles):
    assert open_link(troubles, "1A-AO1").label == "1A-AO1"
    with pytest.raises(Trouble, match="2 links may be meant"):
        open_link(troubles, "1a a01")


def test_a_label_that_nothing_fits_is_told(troubles):
    with pytest.raises(Trouble, match="no link"):
        open_link(troubles, "ZZ-99", job=JOB, site=SITE)
    with pytest.raises(Trouble, match="no link"):
        open_link(troubles, STANDS, job="ANOTHER-JOB")
