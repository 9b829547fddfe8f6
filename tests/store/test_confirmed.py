"""A deposit held to the dry run that somebody confirmed: just that, or nothing."""

from __future__ import annotations

from pathlib import Path

import pytest

from archive import store
from archive.answers.intake import Choices, ingest
from archive.demo import job, layouts
from archive.demo.exports import MAPPING, _texts
from archive.store import Archive
from archive.store.deposits import DepositFacts, NotAsConfirmed

FACTS = DepositFacts(job="QUAY-1", site="Quay 1")


@pytest.fixture
def handed(tmp_path: Path) -> Path:
    """An export in an invented layout that names who tested: each name gets a new salt whenever it is read."""
    path = tmp_path / "in" / "floor-3.csv"
    path.parent.mkdir()
    path.write_bytes(layouts.curves_by_row(job.floor_3()))
    (tmp_path / "layout.toml").write_text(dict(_texts())[MAPPING], encoding="utf-8")
    return path.parent


def how(handed: Path, **more: object) -> Choices:
    return Choices(mapping=handed.parent / "layout.toml", **more)  # type: ignore[arg-type]


def planned(archive: Archive, handed: Path) -> str:
    return str(ingest(archive, [handed], FACTS, how(handed, dry_run=True)).details["decided"])


def test_the_same_comes_to_the_same_however_often_it_is_read(handed: Path, tmp_path: Path) -> None:
    archive = store.create(tmp_path / "archive")
    decided = planned(archive, handed)
    assert decided == planned(archive, handed) and len(decided) == 64
    made = ingest(archive, [handed], FACTS, how(handed, confirmed=decided))
    assert made.entry is not None and made.entry["confirmed"] == decided and made.counts["new"] == 10
    digests = {r["digest"] for r in archive.db.execute("SELECT digest FROM records")}
    assert len(digests) == 10


def test_what_comes_to_something_else_leaves_the_archive_as_it_was(handed: Path, tmp_path: Path) -> None:
    archive = store.create(tmp_path / "archive")
    decided = planned(archive, handed)
    with pytest.raises(NotAsConfirmed, match="not what was confirmed") as other:
        ingest(archive, [handed], DepositFacts(job="QUAY-2", site="Quay 1"), how(handed, confirmed=decided))
    assert other.value.receipt.details["decided"] != decided
    path = handed / "floor-3.csv"
    was = path.read_bytes()
    path.write_bytes(was.replace(b"3A-C01", b"3A-C99"))
    with pytest.raises(NotAsConfirmed) as other:
        ingest(archive, [handed], FACTS, how(handed, confirmed=decided))
    assert other.value.receipt.counts["new"] == 10
    path.write_bytes(was)
    ingest(archive, [handed], FACTS, how(handed))  # somebody else was first
    made = ingest(archive, [handed], FACTS, how(handed, confirmed=decided))
    assert made.entry is None and made.details["decided"] != decided
    assert archive.db.execute("SELECT count(*) FROM deposits").fetchone()[0] == 1
    assert not list((tmp_path / "archive" / "aside").iterdir())
