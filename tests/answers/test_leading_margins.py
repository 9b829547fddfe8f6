"""By the leading margin planted bad links come first in find, rates and claim files; by the smallest of all not."""

from __future__ import annotations

import json
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pyarrow as pa
import pytest

from archive import store
from archive.answers.claim.compose import compose
from archive.answers.claim.gather import gather
from archive.answers.documents import VerdictCards
from archive.answers.leading_margins import rows_with_leading
from archive.answers.wording import ENGLISH
from archive.cli import main
from archive.demo import jobs
from archive.demo.simulator import simulate
from archive.grading import grade
from archive.grading.leading import COLUMNS
from archive.store.deposits import Deposit, DepositFacts
from archive.tables import Batch

LINKS, PER_JOB = 48, 24
SINGLE = 10
"""Place of the one bad link among good ones; every link of the second job is bad."""
LESS = 3.0
"""dB of NEXT that a bad link has less than the simulator gave it; it passes all the same."""


def worse(links: Batch, bad: set[str]) -> Batch:
    """The links with less NEXT on the bad ones."""
    rows = links["sweeps"].to_pylist()
    for row in rows:
        if row["record_id"] in bad and row["parameter"] == "next":
            row["values"] = [None if v is None else round(v - LESS, 1) for v in row["values"]]
    of_jobs = [{**job, "warranty_start": None} for job in links["jobs"].to_pylist()]  # so that every test is accepted
    return links.replace(
        sweeps=pa.Table.from_pylist(rows, schema=links["sweeps"].schema),
        jobs=pa.Table.from_pylist(of_jobs, schema=links["jobs"].schema),
    )


@pytest.fixture(scope="module")
def planted(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, set[str]]:
    """An archive of two jobs, and the ids of the bad records: one of the first job, all of the second."""
    folder = tmp_path_factory.mktemp("leading")
    links = next(simulate(LINKS, 20261, start=jobs.JOB - PER_JOB, category="cat6a", fail_rate=0.0))
    ids = links["records"]["record_id"].to_pylist()
    assert len(set(links["records"]["job_id"].to_pylist())) == 2 and len(ids) == LINKS
    bad = {ids[SINGLE], *ids[PER_JOB:]}
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("MUNIMENT_CACHE", str(folder / "cache"))
        archive = store.create(folder / "archive")
        deposit = Deposit(archive, DepositFacts(by="H. Brume", reason="invented"))
        deposit.add(grade(worse(links, bad)))
        deposit.commit()
        archive.db.close()
    return folder / "archive", bad


@pytest.fixture
def ask(capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> Callable[..., Any]:
    def asked(*words: str) -> Any:
        monkeypatch.setattr(sys, "argv", ["muniment", *words, "--json"])
        with pytest.raises(SystemExit):
            main()
        return json.loads(capsys.readouterr().out)

    return asked


def test_find_ranks_them_first(planted: tuple[Path, set[str]], ask: Callable[..., Any]) -> None:
    """Of the links that pass: how often does a bad one come before another?"""
    root, bad = planted
    passing = [r for r in ask("find", str(root))["records"] if r["verdict"] == "pass"]
    worse, others = ([r for r in passing if (r["record"] in bad) == side] for side in (True, False))
    assert len(worse) >= 15 and len(others) >= 15
    before = {
        name: np.mean([a[name] < b[name] for a in worse for b in others]) for name in ("leading_margin_db", "margin_db")
    }
    assert before["leading_margin_db"] > 0.95
    assert before["margin_db"] < 0.8


def test_rates_set_the_bad_job_apart(planted: tuple[Path, set[str]], ask: Callable[..., Any]) -> None:
    root, _ = planted
    good, poor = sorted(ask("rates", str(root), "--by", "job")["rows"], key=lambda row: row["job"])
    assert good["links"] == poor["links"] == PER_JOB
    assert good["median_margin"] - poor["median_margin"] > 0.8 * LESS
    sql = "SELECT job_id, median(worst_margin_db), median(leading_margin_db) FROM records GROUP BY 1 ORDER BY 1"
    (_, smallest, leading), (_, poor_smallest, poor_leading) = (
        row.values() for row in ask("sql", str(root), sql)["rows"]
    )
    assert smallest - poor_smallest < 0.5 * LESS
    assert (leading, poor_leading) == (good["median_margin"], poor["median_margin"])


def test_a_claim_file_shows_the_bad_link_lowest_among_its_neighbours(planted: tuple[Path, set[str]]) -> None:
    root, bad = planted
    archive = store.open(root)
    archive.catch_up()
    marks = ", ".join("?" * len(bad))
    label, job = archive.db.execute(
        f"SELECT link_label, job_id FROM records WHERE record_id IN ({marks}) ORDER BY row LIMIT 1", sorted(bad)
    ).fetchone()
    facts, _ = gather(archive, label, job=job)
    assert facts.neighbours is not None and len(facts.neighbours.rows) == 9
    by_margin = sorted(facts.neighbours.rows, key=lambda n: n["leading_margin"])
    assert by_margin[0]["link"] == label and by_margin[0]["leading_margin"] < by_margin[1]["leading_margin"] - 1
    assert facts.standing is not None
    verdict = facts.standing.verdict()
    assert verdict is not None and verdict["leading_margin"] == by_margin[0]["leading_margin"]
    front = compose(facts, ENGLISH).sections[0]
    cards = next(b for b in front.blocks if isinstance(b, VerdictCards))
    said = next(line for card in cards.items for line in card.lines if line.startswith("leading margin"))
    assert f"{ENGLISH.margin(verdict['leading_margin'], 'dB')}\u00a0dB" in said


def test_rows_of_older_verdicts_get_theirs_from_the_grades_beside_them(planted: tuple[Path, set[str]]) -> None:
    root, _ = planted
    archive = store.open(root)
    archive.catch_up()
    (deposit,) = (r[0] for r in archive.db.execute("SELECT deposit FROM deposits"))
    batch = archive.tables(deposit).record(SINGLE)
    stored, grades = batch["verdicts"].to_pylist(), batch["grades"].to_pylist()
    older = [{**v, **dict.fromkeys((*COLUMNS, "insertion_loss_margin"))} for v in stored]
    assert stored and stored[0]["leading_margin"] is not None
    assert rows_with_leading(older, grades) == stored == rows_with_leading(stored, grades)
    assert rows_with_leading(older, []) == older
