"""muniment ready: the same answers as grading gives record by record, each link once, nothing written."""

from __future__ import annotations

from collections import Counter
from pathlib import Path

import pytest

from archive import grading, store
from archive.answers.rates.readiness import readiness
from archive.errors import Trouble
from archive.store import Archive
from tests.rates import years
from tests.rates.test_counting import graded
from tests.rates.test_rates import reported, run, told
from tests.store import store_making as making


def test_the_same_as_grading_record_by_record(of_years: Path) -> None:
    """Current records of the two swept jobs, graded by hand; and none of the others can be told to carry 10GBASE-T."""
    opened = store.open(of_years)
    current = {
        r[0] for r in opened.db.execute("SELECT record_id FROM records WHERE current AND evidence = 'full-sweep'")
    }
    wanted: Counter[str] = Counter()
    for (deposit,) in opened.db.execute(
        "SELECT DISTINCT deposit FROM records WHERE evidence = 'full-sweep'"
    ).fetchall():
        for batch in opened.tables(deposit).batches(0, 1000, 1000):
            for row in grading.grade(batch, [], ["10gbase-t"])["verdicts"].to_pylist():
                if row["record_id"] in current:
                    wanted[row["verdict"]] += 1
    found = told("ready", of_years, "--application", "10gbase-t", "--by", "evidence")["rows"]
    by = {r["evidence"]: r for r in found}
    swept = by["full-sweep"]
    assert (swept["carry"], swept["do_not"], swept["cannot_be_told"]) == (
        wanted["pass"],
        wanted["fail"],
        wanted["not graded"],
    )
    assert swept["links"] == sum(wanted.values()) == 96
    assert swept["rate_low"] < swept["rate"] <= swept["rate_high"]
    points = by["worst-points"]
    assert points["carry"] == 0 and points["rate"] is None  # a fail can be told by worst points, a pass cannot
    assert points["reasons"] == {"worst points only, no curves": points["cannot_be_told"]}
    assert sum(r["links"] for r in found) == sum(years.numbers().values())


def test_bounds_hold_what_cannot_be_told(archive: Archive) -> None:
    making.deposit(archive, graded(making.rows("A1"), reported("B1", "pass", place="row 3")))
    before = archive.head()
    (row,) = readiness(archive, ["poe-type-3"]).rows
    assert row["application"] == "poe-type-3" and row["links"] == 2
    assert row["carry"] + row["do_not"] + row["cannot_be_told"] == 2
    assert (row["low"], row["high"]) == (row["carry"] / 2, (row["carry"] + row["cannot_be_told"]) / 2)
    assert sum(row["reasons"].values()) == row["cannot_be_told"] == 2
    assert set(row["reasons"]) == {"no measurements"}
    assert archive.head() == before  # a question is no entry of the ledger


def test_a_link_of_two_families_counts_once(archive: Archive) -> None:
    channel = {"configuration": "channel", "limit_found": "TIA 568.2-D Cat 6 channel"}
    second = making.rows("A1", place="row 3", time="2019-03-04T10:20", shift=0.5, **channel)
    making.deposit(archive, graded(making.rows("A1"), second))
    (row,) = readiness(archive, ["1000base-t"]).rows
    assert row["links"] == 1


def test_links_of_another_medium_are_left_out_and_said(archive: Archive) -> None:
    making.deposit(archive, graded(making.rows("A1")))
    found = readiness(archive, ["10gbase-sr"])
    assert found.rows == [] and "1 link of copper left out" in found.notes[0]


def test_what_is_not_established_says_so(archive: Archive) -> None:
    making.deposit(archive, graded(making.rows("A1")))
    found = readiness(archive, ["25gbase-t"])
    assert found.rows[0]["reasons"] == {"limit not established": 1}
    assert found.to_measure["25gbase-t"] == []
    assert found.not_known["25gbase-t"] == ["limit not established (1 link)"]
    text = run("ready", archive.root, "--application", "25gbase-t").stdout
    assert "to tell more" not in text and "no measurement tells more of these: limit not established (1 link)" in text


def test_what_cannot_be_asked(of_years: Path) -> None:
    for words in (
        ["--application", "11gbase-t"],
        ["--application", "10gbase-t", "--by", "parameter"],
        ["--application", "10gbase-t", "--by", "colour"],
        ["--application", "10gbase-t", "-o", "x.csv"],
    ):
        assert isinstance(run("ready", of_years, *words).exception, Trouble)
    assert run("ready", of_years).exit_code == 2


@pytest.mark.parametrize("form", ["csv", "json"])
def test_tables(archive: Archive, tmp_path: Path, form: str) -> None:
    making.deposit(archive, graded(making.rows("A1")))
    out = tmp_path / f"ready.{form}"
    result = run("ready", archive.root, "--application", "1000base-t", "--as", form, "-o", out)
    assert result.exit_code == 0 and "1000base-t" in out.read_text()
    assert "to tell more, measure" in run("ready", archive.root, "--application", "1000base-t").stdout
