"""Rates against a limit that records were regraded to: what regrading came to counts, each link once, and is said."""

from __future__ import annotations

from collections import Counter
from pathlib import Path

import duckdb
import pyarrow.parquet as pq
import pytest

from archive import grading, store
from archive.answers.rates.rates import rates
from archive.answers.rates.readiness import readiness
from archive.answers.rates.source import Choice
from archive.answers.regrade import regrade
from archive.demo.simulator import simulate
from archive.store import Archive
from archive.store.catalogue.filters import Filters
from tests.rates.test_counting import graded
from tests.rates.test_rates import told
from tests.store import store_making as making

LIMIT = "tia-568.2-d/cat6/permanent-link"
LINKS = 40
CHOICE = Choice(Filters(limit=LIMIT))


@pytest.fixture(scope="module")
def regraded(tmp_path_factory: pytest.TempPathFactory) -> tuple[Archive, Counter[str]]:
    """40 swept links tested to category 6A and regraded against category 6; and what their last tests come to."""
    archive = store.create(tmp_path_factory.mktemp("regraded") / "archive")
    wanted: dict[str, str] = {}
    for batch in simulate(LINKS, 3, fail_rate=0.3, retest_share=0.5):
        job = batch["jobs"].to_pylist()[0]["job_id"]
        labels = dict(zip(*(batch["records"][n].to_pylist() for n in ("record_id", "link_label")), strict=True))
        for row in grading.grade(batch, against=[LIMIT])["verdicts"].to_pylist():
            wanted[labels[row["record_id"]]] = row["verdict"]  # the second test of a link comes after the first
        making.deposit(archive, grading.grade(batch), job=job)
    assert len(wanted) == LINKS
    swept = archive.db.execute("SELECT DISTINCT deposit FROM records WHERE evidence = 'full-sweep'").fetchall()
    for (deposit,) in swept:
        regrade(archive, Filters(deposit=deposit), against=[LIMIT], by="T. Ester", reason=None)
    return archive, Counter(wanted.values())


def test_it_counts_what_regrading_came_to(regraded: tuple[Archive, Counter[str]]) -> None:
    archive, wanted = regraded
    found = rates(archive, (), CHOICE)
    assert (found.total["links"], found.total["passed"]) == (wanted["pass"] + wanted["fail"], wanted["pass"])
    assert found.total["links"] == LINKS and 0 < wanted["fail"] < LINKS
    assert "tests count by what regrading against" in found.notes[0]
    assert 0 < found.total["fixed"] == found.total["passed"] - found.total["first_passed"]
    without = rates(archive, ["limit"])  # nothing changes where no limit is asked for
    assert sum(r["links"] for r in without.rows) == LINKS and not any("regrading" in n for n in without.notes)


def test_the_views_hold_every_run(regraded: tuple[Archive, Counter[str]]) -> None:
    path: Path = regraded[0].root
    head = "SELECT count(*) AS n, count(*) FILTER (latest) AS latest, min(entry) > 1 AS later FROM assessed_verdicts"
    (row,) = told("sql", path, f"{head} WHERE limit_id = '{LIMIT}'")["rows"]
    assert row["n"] == row["latest"] >= LINKS and row["later"]
    joined = "SELECT count(*) AS n FROM assessed_verdicts a JOIN links l USING (deposit, position) WHERE a.latest"
    assert told("sql", path, joined)["rows"][0]["n"] == LINKS
    grades = told("sql", path, "SELECT DISTINCT parameter FROM assessed_grades WHERE latest")["rows"]
    assert {"next", "return_loss"} <= {r["parameter"] for r in grades}


def test_ready_chooses_by_it(regraded: tuple[Archive, Counter[str]]) -> None:
    found = readiness(regraded[0], ["1000base-t"], (), CHOICE)
    assert found.rows[0]["links"] == LINKS and "tests count by what regrading" in found.notes[0]


def test_a_link_of_two_families_counts_once(archive: Archive) -> None:
    """By the record that decides for it, whatever limits its tests were regraded against."""
    words = "TIA 568.2-D Cat 6 channel"
    more = {"time": "2019-03-04T10:20", "configuration": "channel", "limit_found": words}
    channel = making.rows("A1", place="row 3", shift=0.5, **more)
    making.deposit(archive, graded(making.rows("A1"), channel))
    for limit in ("tia-568.2-d/cat6/channel", "tia-568.2-d/cat5e/channel"):
        regrade(archive, Filters(), against=[limit], by="T. Ester", reason=None)
        found = rates(archive, (), Choice(Filters(limit=limit)))
        assert found.total["links"] + found.total["not_graded"] == 1
        assert found.notes[0].startswith("2 tests count by what regrading")


def test_what_regrading_came_to_is_exported(regraded: tuple[Archive, Counter[str]], tmp_path: Path) -> None:
    archive, wanted = regraded
    document = told("export-data", archive.root, "--to", tmp_path / "data", "--least-links", "1")
    verdicts = pq.read_table(tmp_path / "data/assessed_verdicts.parquet")
    assert document["rows"]["assessed_verdicts"] == verdicts.num_rows >= LINKS
    assert not {"link_label", "confirmed_by"} & set(verdicts.column_names)
    joined = duckdb.execute(
        f"SELECT v.verdict, count(*) FROM '{tmp_path}/data/links.parquet' JOIN "
        f"'{tmp_path}/data/assessed_verdicts.parquet' v USING (deposit, position) GROUP BY 1"
    ).fetchall()
    assert dict(joined) == wanted
