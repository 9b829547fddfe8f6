"""What leaves the house says that records were disposed of, and names no other job; kept calibrations are asked."""

from __future__ import annotations

import json
from datetime import date
from pathlib import Path

import duckdb
import pytest

from archive import formats, store
from archive.answers.book.gather import gather
from archive.answers.intake import ingest
from archive.answers.job_terms import breaches
from archive.answers.jobs import state
from archive.answers.progress import progress
from archive.store import Archive
from archive.store.deposits import DepositFacts
from archive.store.disposal import approve, propose
from archive.store.events.calibrations import keep_calibrations
from archive.tables import with_id
from tests.cli.person import typed
from tests.store.store_making import batch, deposit, rows

pytestmark = pytest.mark.filterwarnings("ignore::archive.store.disposed.Disposed")
OLD, NEW = "OLD-JOB-2009", "HARBOUR-2019-04"
TODAY = date(2026, 12, 1)


@pytest.fixture
def archive(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Archive:
    monkeypatch.setenv("MUNIMENT_CACHE", str(tmp_path / "cache"))
    monkeypatch.setenv("MUNIMENT_CONFIG", str(tmp_path / "config"))
    return store.create(tmp_path / "archive")


@pytest.fixture
def disposed(archive: Archive) -> Archive:
    """Two records of an old job are gone; one was deposited for it since; another job is whole."""
    deposit(archive, batch(rows("A-1", source="1" * 64), rows("A-2", source="1" * 64, place="row 3", shift=1)), job=OLD)
    deposit(archive, batch(rows("B-1", source="3" * 64, shift=2)), job=NEW)
    state(archive, OLD, ["retain_until=2020-01-01"], by="A. Clerk")
    propose(archive, OLD, TODAY, by="A. Clerk", reason="retention is over")
    approve(archive, OLD, TODAY, by="B. Counsel", reason="agreed")
    deposit(archive, batch(rows("A-9", source="9" * 64, shift=9)), job=OLD)
    return archive


def test_a_book_says_it_of_its_own_job_alone(disposed: Archive) -> None:
    (said,) = [n for n in gather(disposed, OLD).notes if "disposed" in n]
    (number,) = [e.number for e in disposed.entries() if e.get("event") == "disposal"]
    assert said.endswith(f"on no page: 2 records by ledger entry {number}")
    assert not [n for n in gather(disposed, NEW).notes if "disposed" in n]


def test_views_have_each_disposal_and_each_calibration(disposed: Archive, tmp_path: Path) -> None:
    kept = {"serial": "9", "calibrated_on": "2019-01-07", "valid_until": "2020-01-06"}
    entry, _ = keep_calibrations(disposed, tmp_path / "list.csv", b"x", [kept], by="A. Clerk", reason=None)
    assert entry is not None
    (row,) = typed("sql", disposed.root, "SELECT * FROM disposals", "--json").document["rows"]
    told = {e.number: e for e in disposed.entries()}
    assert told[row["entry"]]["event"] == "disposal" and row["at"] == told[row["entry"]]["at"]
    assert told[row["proposal"]]["id"] == told[row["entry"]]["proposal"]
    assert (row["job_id"], row["deposits"], row["records"]) == (OLD, 1, 2)
    (row,) = typed("sql", disposed.root, "SELECT * FROM calibrations", "--json").document["rows"]
    assert {k: v for k, v in row.items() if v is not None} == {**kept, "entry": entry.number}


def test_data_for_other_tools_say_how_much_and_not_whose(disposed: Archive, tmp_path: Path) -> None:
    asked = ("--least-links", "1")
    made = typed("export-data", disposed.root, "--to", tmp_path / "data", *asked, "--json").document
    said = "2 records of 1 job disposed of: they are in nothing of this"
    assert made["disposed"] == said
    folder = json.loads((tmp_path / "data" / "schema.json").read_text())
    assert folder["notes"] == [said] and OLD not in json.dumps(folder)
    typed("export-data", disposed.root, "--to", tmp_path / "data.duckdb", *asked)
    with duckdb.connect(str(tmp_path / "data.duckdb")) as db:
        (comment,) = db.execute("SELECT comment FROM duckdb_tables() WHERE table_name = 'links'").fetchone() or ("",)
    assert said in comment and OLD not in comment


def test_rates_and_their_page_say_it(disposed: Archive, tmp_path: Path) -> None:
    said = "2 records of 1 job disposed of: they are in nothing of this"
    assert said in typed("rates", disposed.root, "--json").document["notes"]
    typed("rates", disposed.root, "--report", tmp_path / "report")
    page = (tmp_path / "report" / "index.html").read_text(encoding="utf-8")
    assert said in page and OLD not in page


def _lapsed(folder: Path, serial: str = "9", due: str = "2018-01-01") -> Path:
    """A test of 4 March 2019 by a unit whose calibration, as the export says, had run out."""
    unit = with_id("instruments", {"maker": "Petrel Metrology", "serial": serial, "calibration_due": due})
    made = rows("A3", local_instrument_id=unit["instrument_id"])
    made["instruments"].append(unit)
    path = folder / f"{serial}-{due}.xml"
    formats.write([batch(made)], path)
    return path


def _raised(archive: Archive, path: Path, **facts: str) -> list[str]:
    made = ingest(archive, [path], DepositFacts(job="J", by="R. Ostrander", **facts))
    assert made.entry is not None
    found = archive.tables(made.entry["deposit"]).table("findings").to_pylist()
    return [f["expected"] for f in found if f["rule"] == "calibration-expired" and f["status"] == "raised"]


@pytest.mark.parametrize(
    ("begins", "ends", "late"),
    [
        ("2018-06-01", "2019-03-04", []),  # its last day is a day of the calibration
        ("2018-06-01", "2019-03-03", ["2018-01-01"]),
        ("2019-03-05", "2020-03-04", ["2018-01-01"]),
        (None, "2020-03-04", ["2018-01-01"]),  # since when it held is not known, so that it covers no day
    ],
)
def test_a_kept_calibration_covers_its_days_and_no_other(
    archive: Archive, tmp_path: Path, begins: str | None, ends: str, late: list[str]
) -> None:
    row = {"serial": "9", "calibrated_on": begins, "valid_until": ends}
    keep_calibrations(archive, tmp_path / "list.csv", b"x", [row], by=None, reason=None)
    assert _raised(archive, _lapsed(tmp_path)) == late
    (deposit_made,) = archive.db.execute("SELECT deposit FROM deposits").fetchone()
    assert archive.tables(deposit_made).table("documents").num_rows == 0, "it was not handed in"


def test_a_kept_calibration_tells_where_the_export_does_not(archive: Archive, tmp_path: Path) -> None:
    row = {"serial": "9", "calibrated_on": "2017-06-01", "valid_until": "2018-05-31"}
    keep_calibrations(archive, tmp_path / "list.csv", b"x", [row], by=None, reason=None)
    assert _raised(archive, _lapsed(tmp_path, due="")) == ["2018-05-31"]
    assert _raised(archive, _lapsed(tmp_path, serial="10", due="")) == [], "of another unit it tells nothing"


def test_a_list_that_comes_later_settles_what_was_found(archive: Archive, tmp_path: Path) -> None:
    assert _raised(archive, _lapsed(tmp_path)) == ["2018-01-01"]

    def told() -> list[str]:
        return [b.what for b in breaches(archive, "J", progress(archive, "J").links)]

    def checked() -> list[str]:
        found = typed("check", archive.root, "--job", "J", "--today", "2019-06-01", "--json").document["findings"]
        return [f["expected"] for f in found if f["rule"] == "calibration-expired"]

    assert told() == ["calibration"] and checked() == ["2018-01-01"]
    row = {"serial": "9", "calibrated_on": "2018-06-01", "valid_until": "2019-05-31"}
    keep_calibrations(archive, tmp_path / "list.csv", b"x", [row], by=None, reason=None)
    assert told() == [] and checked() == []
