"""A small invented job, its exports and its archive, made once. Everything in it is simulated."""

from __future__ import annotations

import shutil
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest

from archive import formats
from archive.demo.simulator import simulate
from archive.tables import Batch, concat
from tests.cli.person import typed

JOB = "HARBOUR-2019-04"
FAILED = "01-1A-A06"
"""The link that fails its first test and passes its second."""


@dataclass(frozen=True)
class World:
    """exports: week1.xml (01-1A-A01 to A08, A06 twice), week2.xml (01-1A-A09 with the curves of A03) and a file that
    nobody can read; good: two passing links; schedule: 01-1A-A01 to A08 and A10; archive: all of it."""

    root: Path
    exports: Path
    good: Path
    schedule: Path
    archive: Path
    receipt: dict[str, Any]


@pytest.fixture(scope="session")
def built(tmp_path_factory: pytest.TempPathFactory) -> World:
    """The job. It is shared: `world` gives a copy to change."""
    root = tmp_path_factory.mktemp("job")
    week = concat(simulate(8, seed=5, category="cat5e", fail_rate=0.2, retest_share=1.0))
    formats.write([week], root / "exports" / "week1.xml", "xml")
    formats.write([copied(week)], root / "exports" / "week2.xml", "xml")
    (root / "exports" / "notes.txt").write_text("call the site at eight\n")
    formats.write([week.select(week["records"].column("record_id").to_pylist()[:2])], root / "good.xml", "xml")
    links = [*(f"01-1A-A{n:02d}" for n in range(1, 9)), "01-1A-A10"]
    (root / "links.csv").write_text("link,due\n" + "".join(f"{link},2019-02-01\n" for link in links))
    archive = root / "archive"
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("MUNIMENT_CACHE", str(root / "cache"))
        assert typed("init", archive).code == 0
        words = ("--into", archive, "--job", JOB, "--site", "Lantern Quay", "--by", "R. Ostrander")
        said = typed("deposit", root / "exports", *words, "--schedule", root / "links.csv", "--json")
    assert said.code == 1, said
    return World(root, root / "exports", root / "good.xml", root / "links.csv", archive, said.document)


@pytest.fixture
def world(built: World, tmp_path: Path) -> World:
    """A copy of the job that a test may change."""
    root = tmp_path / "job"
    shutil.copytree(built.root, root)
    paths = (built.exports, built.good, built.schedule, built.archive)
    return World(root, *(root / p.relative_to(built.root) for p in paths), built.receipt)


def copied(week: Batch) -> Batch:
    """The third record once more, as if another link had been tested an hour later: a planted fault."""
    name = week["records"].column("record_id").to_pylist()[2]
    rows = {t: table.to_pylist() for t, table in week.select([name]).items()}
    for listed in rows.values():
        for row in listed:
            if row.get("record_id") == name:
                row["record_id"] = "re-" + "1" * 32
    for row in rows["records"]:
        row |= {"link_label": "01-1A-A09", "tested_local": "2019-01-07T09:17:00", "tested_found": "2019-01-07T09:17:00"}
        row |= {"tested_at": None, "source_place": "a copied result"}
    return Batch.from_rows(rows)
