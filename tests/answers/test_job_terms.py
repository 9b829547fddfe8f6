"""A job's terms: what was tested to another limit, outside its days, or with a lapsed unit is told in its numbers."""

from __future__ import annotations

import json
import sys
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "store"))

from store_making import batch, rows

from archive import formats, store
from archive.answers.intake import ingest
from archive.answers.job_terms import breaches, sentences
from archive.answers.jobs import state
from archive.answers.progress import progress
from archive.cli import main
from archive.errors import Trouble
from archive.store import Archive
from archive.store.deposits import DepositFacts
from archive.tables import with_id

BY = "R. Ostrander"


@pytest.fixture
def archive(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Archive:
    """A1 to category 6; A2 to 5e; A3 by a unit that was due in 2018; all of March 2019."""
    monkeypatch.setenv("MUNIMENT_CACHE", str(tmp_path / "cache"))
    monkeypatch.setenv("MUNIMENT_CONFIG", str(tmp_path / "config"))
    made = store.create(tmp_path / "archive")
    lapsed = with_id(
        "instruments",
        {"maker": "Petrel Metrology", "model": "P-40", "serial": "9", "calibrated_on": "2017-01-01",
         "calibration_due": "2018-01-01", "unit": "main"},
    )  # fmt: skip
    words = "category 5e permanent link to 568.2-D"
    third = rows("A3", place="row 3", shift=0.6, local_instrument_id=lapsed["instrument_id"])
    third["instruments"].append(lapsed)
    listed = [rows("A1", place="row 1"), rows("A2", place="row 2", shift=0.3, limit_found=words), third]
    formats.write([batch(*listed)], tmp_path / "in.xml")
    ingest(made, [tmp_path / "in.xml"], DepositFacts(job="J", by=BY))
    return made


def found(archive: Archive) -> dict[str, tuple[str, ...]]:
    return {b.what: b.links for b in breaches(archive, "J", progress(archive, "J").links)}


def test_without_terms_only_the_lapsed_unit_is_told(archive: Archive) -> None:
    assert found(archive) == {"calibration": ("A3",)}


def test_a_certificate_to_another_category(archive: Archive) -> None:
    state(archive, "J", ["required_limit=category 6 permanent link to 568.2-D"], by=BY)
    assert found(archive)["limit"] == ("A2",)


def test_tests_outside_the_days_of_the_work(archive: Archive) -> None:
    state(archive, "J", ["work_start=2019-03-05"], by=BY)
    assert found(archive)["before"] == ("A1", "A2", "A3")
    state(archive, "J", ["work_start=2019-02-01", "work_end=2019-02-28"], by=BY)
    assert found(archive)["after"] == ("A1", "A2", "A3")
    state(archive, "J", ["work_end=2019-03-04"], by=BY)
    assert "after" not in found(archive)


@pytest.mark.parametrize(
    "facts",
    [["warranty_start=2005-06-01", "warranty_end=2004-01-01"], ["work_start=2019-03-02", "work_end=2019-03-01"]],
)
def test_what_ends_before_it_starts_is_refused(archive: Archive, facts: list[str]) -> None:
    size = archive.head().size
    with pytest.raises(Trouble, match="is before"):
        state(archive, "J", facts, by=BY)
    assert archive.head().size == size
    state(archive, "J", facts[:1], by=BY)
    with pytest.raises(Trouble, match="is before"):
        state(archive, "J", facts[1:], by=BY)


def test_progress_tells_them(
    archive: Archive, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    (told,) = sentences(breaches(archive, "J", progress(archive, "J").links))
    assert told == "Tested with a unit whose calibration had run out (1): A3."
    monkeypatch.setattr(sys, "argv", ["muniment", "progress", str(archive.root), "--job", "J", "--json"])
    with pytest.raises(SystemExit):
        main()
    assert json.loads(capsys.readouterr().out)["terms"] == [{"what": "calibration", "expected": "", "links": ["A3"]}]
