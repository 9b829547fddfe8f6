"""Disks without links, without a rename that spares what is there, and with names that know no case."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from archive import store
from archive.answers.intake import Choices, ingest
from archive.store import Archive
from archive.store.copies import export
from archive.store.deposits import DepositFacts
from archive.store.fixity import fixity
from tests.endurance import store_runs
from tests.endurance.store_disks import CASE_BLIND, DISKS

EXPORTS = Path(__file__).parents[2] / "fixtures" / "exports"


@pytest.mark.slow
@pytest.mark.parametrize("disk", list(DISKS)[1:])
def test_many_write_at_once(tmp_path: Path, disk: str, own_cache: Path) -> None:
    figures = store_runs.writers(tmp_path, 4, 4, disk=disk)
    assert figures["acknowledged"] > 2


@pytest.mark.slow
def test_a_writer_that_is_killed_while_it_creates_its_entry_is_ended(tmp_path: Path, own_cache: Path) -> None:
    figures = store_runs.kills(tmp_path, "deposit", 5, seed=9, disk="exclusive creation")
    assert figures["acknowledged and lost"] == figures["doubled"] == figures["damaged"] == 0


def test_names_in_a_bag_differ_in_more_than_case(
    archive: Archive, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Two mappings, and two files handed in, of names that are one name elsewhere. The copy is for such a disk too."""
    DISKS[CASE_BLIND](monkeypatch)
    named: list[Path] = []
    for folder, layout, name in (("A", "whimbrel-rows", "Layout.toml"), ("b", "redshank-margins", "layout.toml")):
        (tmp_path / folder).mkdir()
        named.append(shutil.copy(EXPORTS / layout / "mapping.toml", tmp_path / folder / name))
        (data,) = (EXPORTS / layout).glob("*.csv")
        (tmp_path / "in" / folder).mkdir(parents=True)
        shutil.copy(data, tmp_path / "in" / folder / name.replace("toml", "csv"))
    made = ingest(archive, [tmp_path / "in"], DepositFacts(job="JOB", by=None), Choices(mapping=named))
    assert made.entry is not None
    export(archive, tmp_path / "copy")
    for root in (archive.root, tmp_path / "copy"):
        paths = [p.relative_to(root).as_posix() for p in root.rglob("*")]
        assert len({p.casefold() for p in paths}) == len(paths)
        assert fixity(store.open(root), "deep").sound
