"""Layouts that the drafting was not made with: 90 % of all cells placed rightly, and none wrongly while sure."""

from __future__ import annotations

from pathlib import Path

import pytest
from held_out import LAYOUTS
from scoring import score

from archive import formats
from archive.formats.account import Account
from archive.formats.draft.command import draft_of


def written(name: str, folder: Path) -> tuple[Path, dict[str, str]]:
    """The first file of a layout, written; where its columns belong."""
    made = LAYOUTS[name]()
    for file, data in made.files.items():
        (folder / file).write_bytes(data)
    return folder / next(iter(made.files)), made.expected


@pytest.mark.parametrize("name", sorted(LAYOUTS))
def test_a_draft_places_the_cells_rightly(name: str, tmp_path: Path) -> None:
    path, expected = written(name, tmp_path)
    found = score(draft_of(path), expected)
    assert found.wrong_and_sure == []
    assert found.share >= 0.9, found


@pytest.mark.parametrize("name", sorted(LAYOUTS))
def test_a_sure_draft_reads_without_a_mapping(name: str, tmp_path: Path) -> None:
    path, _ = written(name, tmp_path)
    account = Account()
    labels = [label for b in account.counted(formats.read(path)) for label in b["records"]["link_label"].to_pylist()]
    cells = account.cells
    assert cells["read"] == cells["mapped"] + cells["extras"] + cells["ignored"]
    assert account.set_aside == []
    assert labels and all(labels)
