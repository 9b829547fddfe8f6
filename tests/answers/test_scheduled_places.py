"""One label scheduled at two places is two links, each with tests of its own."""

from __future__ import annotations

import json
import sys
from datetime import date
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from click.testing import CliRunner

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "store"))

from store_making import batch, deposit, rows

from archive import store
from archive.answers.intake import ingest
from archive.answers.job_schedule import latest_schedule
from archive.answers.progress import Progress, link_of_job, progress
from archive.answers.rates.rates import Asked, rates
from archive.answers.rates.source import Choice
from archive.cli import cli
from archive.errors import Trouble
from archive.store import Archive
from archive.store.deposits import DepositFacts
from archive.store.events import Correction, amend
from archive.store.events.accept import accept_job
from archive.store.roles import Role
from archive.tables import Batch, with_id
from archive.validation.copies.identity import Identities
from archive.validation.look import RecordLook
from archive.vocabulary.link_counts import IN_DOUBT, PASSING, LinkResult, one_of_copies

JOB = "J"


@pytest.fixture
def archive(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Archive:
    """A1 on floors 1 and 2, A2 on floor 1."""
    monkeypatch.setenv("MUNIMENT_CACHE", str(tmp_path / "cache"))
    made = store.create(tmp_path / "archive")
    schedule(made, tmp_path / "a.csv", "A1;1\nA1;2\nA2;1\n")
    return made


def schedule(archive: Archive, path: Path, lines: str) -> dict[str, Any]:
    """What the receipt says of a schedule that is handed in."""
    path.write_text("Run;Floor\n" + lines, encoding="utf-8")
    made = ingest(archive, [path], DepositFacts(job=JOB, by="R. Ostrander"))
    return dict(made.details["schedules"][0])


def after_tests(archive: Archive, *links: tuple[str, str | None], start: int = 0) -> Progress:
    """The job after tests of labels on floors."""
    made = []
    for n, (label, floor) in enumerate(links, start):
        place = with_id("places", {"floor": floor}) if floor else None
        more = {"local_place_id": place["place_id"]} if place else {}
        one = rows(label, shift=0.3 * n, place=f"row {n}", time=f"2019-03-04T10:{n:02d}", **more)
        key = {"record_id": one["records"][0]["record_id"], "limits_version": "tests", "program": "tests"}
        one["verdicts"] = [{**key, "verdict": "pass", "provisional": False, "marginal": None}]
        made.append({**one, **({"places": [place]} if place else {})})
    deposit(archive, batch(*made), job=JOB)
    return progress(archive, JOB)


def numbers(found: Progress, *names: str) -> list[int]:
    assert [sum(n for _, n in left) for left, _ in found.counts.sums()] == [
        sum(n for _, n in right) for _, right in found.counts.sums()
    ]
    return [found.counts[name] for name in names]


def test_two_places_are_two_scheduled_links(archive: Archive) -> None:
    assert [k[:3:2] for k in latest_schedule(archive, JOB)] == [("A1", "1"), ("A1", "2"), ("A2", "1")]
    found = after_tests(archive, ("A1", "1"), ("A2", "1"))
    assert numbers(found, "scheduled", "passing", "missing") == [3, 2, 1]
    assert found.notes == ["A1 at floor 2 was not tested"]
    found = after_tests(archive, ("A1", "2"), start=5)
    assert numbers(found, "scheduled", "passing", "missing", "unexpected") == [3, 3, 0, 0]
    assert found.counts.complete and not found.notes


def test_a_test_of_another_place_is_of_no_scheduled_link(archive: Archive) -> None:
    found = after_tests(archive, ("A1", "3"))
    assert numbers(found, "scheduled", "tested", "missing", "unexpected") == [3, 1, 3, 1]
    assert found.notes[-1] == "A1 was tested at floor 3, where it is not scheduled"
    assert not any("may be the same link" in note for note in found.notes), "a label is no look-alike of itself"


def test_a_test_that_gives_less_joins_the_only_line(archive: Archive) -> None:
    found = after_tests(archive, ("A2", None))
    assert numbers(found, "passing", "missing", "in_doubt") == [1, 2, 0]


def test_a_test_that_gives_less_is_in_doubt_between_two_lines(archive: Archive) -> None:
    found = after_tests(archive, ("A1", None))
    assert numbers(found, "scheduled", "tested", "in_doubt", "missing", "passing") == [3, 1, 1, 3, 0]
    (note,) = found.notes
    assert "A1: the test names no floor, and this label is scheduled at 2 places (floor 1; floor 2)" in note
    printed = CliRunner().invoke(cli, ["progress", str(archive.root), "--job", JOB]).output
    assert "note: A1: the test names no floor" in printed
    told = next(iter(archive.db.execute("SELECT deposit FROM deposits ORDER BY number DESC")))["deposit"]
    receipt = CliRunner().invoke(cli, ["receipt", str(archive.root), told]).output
    assert receipt.count("the test names no floor") == 1


def test_what_is_advised_of_a_test_between_two_lines_resolves_it(archive: Archive) -> None:
    (note,) = after_tests(archive, ("A1", None)).notes
    advised = note.partition("`muniment ")[2].rstrip("`").replace("ARCHIVE", str(archive.root)).replace("...", "2")
    done = CliRunner().invoke(cli, [*advised.split(), "--reason", "the plan", "--by", "R. Ostrander"])
    assert done.exit_code == 0, done.output
    found = progress(store.open(archive.root), JOB)
    assert numbers(found, "passing", "in_doubt", "missing", "unexpected") == [1, 0, 2, 0]
    assert found.notes == ["A1 at floor 1 was not tested"]


def test_find_and_identity_show_a_test_between_two_lines(archive: Archive) -> None:
    after_tests(archive, ("A1", None), ("A2", "1"))

    def told(*words: str) -> Any:
        return json.loads(CliRunner().invoke(cli, [*words, "--json"]).output)

    root = str(archive.root)
    outcomes = {r["link"]: r["outcome"] for r in told("find", root)["records"]}
    assert outcomes == {"A1": "in_doubt", "A2": "passing"}
    (doubt,) = told("identity", root)["schedule"]
    assert (doubt["job"], doubt["link"]) == (JOB, "A1") and "scheduled at 2 places (floor 1; floor 2)" in doubt["why"]
    assert [len(told("identity", root, *w)["schedule"]) for w in (["A1"], ["A2"], ["--job", JOB])] == [1, 0, 1]
    said = CliRunner().invoke(cli, ["identity", root])
    assert said.exit_code == 1 and "A1 (job J): the test names no floor" in said.output
    (record,) = (r["record"] for r in told("find", root)["records"] if r["link"] == "A1")
    amended = ["amend", root, "--record", record, "--set", "floor=2", "--by", "R. Ostrander", "--reason", "the plan"]
    assert CliRunner().invoke(cli, amended).exit_code == 0
    assert told("identity", root)["schedule"] == []
    assert {r["outcome"] for r in told("find", root)["records"]} == {"passing"}


def test_identity_sends_a_test_between_two_lines_to_amend(archive: Archive) -> None:
    after_tests(archive, ("A1", None))
    said = CliRunner().invoke(cli, ["identity", str(archive.root), "A1", "--different", "--by", "R. Ostrander"])
    assert isinstance(said.exception, Trouble) and "amend --set floor" in said.exception.remedy


def test_a_later_test_without_a_place_proves_nothing_of_the_first_place(archive: Archive) -> None:
    found = after_tests(archive, ("A1", "1"), ("A1", None), ("A2", "1"))
    assert numbers(found, "scheduled", "in_doubt", "missing", "passing") == [3, 1, 1, 1]


def test_curves_of_another_place_of_the_same_label_are_copies_and_end() -> None:
    first, second = LinkResult("A1", "passing"), LinkResult("A1", "passing", copy_of="A1")
    assert [x.copy_of for x in one_of_copies([first, second])] == ["", "A1"]
    round_about = [LinkResult("A", "passing", copy_of="B"), LinkResult("B", "passing", copy_of="A")]
    assert len(one_of_copies(round_about)) == 2


def test_a_receipt_counts_lines_of_a_schedule_that_came(archive: Archive, tmp_path: Path) -> None:
    changed = schedule(archive, tmp_path / "b.csv", "B1;1\nB1;2\n")
    assert (changed["links"], changed["added"]) == (5, ["B1", "B1"])


def test_what_changed_in_a_schedule_is_said_by_place(archive: Archive, tmp_path: Path) -> None:
    changed = schedule(archive, tmp_path / "b.csv", "A1;1\nA1;3\nA2;1\n")
    assert (changed["added"], changed["removed"], changed["changed"]) == ([], [], ["A1"])
    changed = schedule(archive, tmp_path / "c.csv", "A1;1\nA2;1\nA4;1\n")
    assert (changed["added"], changed["removed"], changed["changed"]) == (["A4"], ["A1"], [])
    changed = schedule(archive, tmp_path / "d.csv", "A1;1\nA2;1\nA2;2\nA4;1\n")
    assert changed["added"] == ["A2"]


def test_a_line_takes_the_look_alike_that_was_tested_by_the_day_of_acceptance(archive: Archive) -> None:
    found = after_tests(archive, ("A 2", "1"))
    assert numbers(found, "passing", "missing") == [1, 2]
    accept_job(archive, JOB, date(2019, 3, 4), by="R. Ostrander", reason="minutes")
    late = rows("A2", shift=3.0, place="row 9", time="2019-03-05T10:00")
    deposit(archive, batch(late), job=JOB)
    found = progress(archive, JOB)
    assert numbers(found, "scheduled", "tested", "passing", "missing", "further_sides") == [3, 1, 1, 2, 0]


def test_one_link_by_itself_is_in_doubt_as_it_is_among_the_others(archive: Archive) -> None:
    after_tests(archive, ("A1", None), ("A2", "1"))
    by_label = {
        str(r["link_label"]): str(r["link"]) for r in archive.db.execute("SELECT link_label, link FROM records")
    }
    found = {label: link_of_job(archive, JOB, link) for label, link in by_label.items()}
    assert found["A1"] is not None and found["A1"].result.outcome == IN_DOUBT
    assert found["A2"] is not None and found["A2"].result.outcome == PASSING


@pytest.mark.parametrize("role", ["current", "accepted"])
def test_rates_count_a_test_between_two_places_as_in_doubt_until_its_place_is_given(
    archive: Archive, role: Role
) -> None:
    """The counts of `muniment progress` and of `muniment rates` are the same."""
    found = after_tests(archive, ("A1", None), ("A2", "1"))
    assert numbers(found, "passing", "in_doubt") == [1, 1]
    assert counted(archive, role) == (1, 1, 1, 1)
    row = archive.db.execute("SELECT record_id FROM records WHERE link_label = 'A1'").fetchone()[0]
    amend(archive, [Correction(row, "floor", "2")], by="R. Ostrander", reason="the plan")
    assert numbers(progress(archive, JOB), "passing", "in_doubt") == [2, 0]
    assert counted(archive, role) == (2, 2, 0, 2)


def counted(archive: Archive, role: Role) -> tuple[int, ...]:
    """Links that count, that pass, that are in doubt, and first tests, by `muniment rates`."""
    total = rates(archive, [], Choice(role=role), Asked("none")).total
    return tuple(total[name] for name in ("links", "passed", "in_doubt", "first_links"))


def at_floors(*floors: tuple[str, str]) -> Batch:
    """Tests of one label with the same curves, each on a floor at a time."""
    made = []
    for floor, time in floors:
        place = with_id("places", {"floor": floor})
        one = rows("A1", place=f"{floor} {time}", time=f"2019-03-04T{time}", local_place_id=place["place_id"])
        made.append({**one, "places": [place]})
    return batch(*made)


def test_equal_curves_at_two_places_of_a_label_are_a_copy_and_no_retest(archive: Archive) -> None:
    """By one unit at one minute they are one test under another name; at another time a copied result."""
    decided = deposit(archive, at_floors(("1", "10:00"), ("2", "10:00"), ("2", "10:07")), job=JOB).counts
    told = {kind: count for kind, count in decided.items() if count}
    assert told == {"new": 1, "relabelled": 1, "copied_curves": 1}


@pytest.mark.parametrize(("floor", "same"), [("1", True), ("2", False)])
def test_plain_files_compare_curves_between_two_places_of_a_label(floor: str, same: bool) -> None:
    look = RecordLook(at_floors(("1", "10:00"), (floor, "10:07")), date(2026, 11, 25))
    who = Identities()
    who.add(look, np.arange(2))
    assert who.same(np.array([0]), np.array([1])).tolist() == [same]
