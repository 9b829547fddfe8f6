"""Every invented export reads to exactly its truth with its mapping, and is drafted rightly without it."""

from __future__ import annotations

from pathlib import Path

import pytest
from invented.all import LAYOUTS
from invented.compare import differences, plain
from scoring import score

from archive import formats
from archive.formats.conversion_account import ConversionAccount
from archive.formats.draft.command import draft_of
from archive.formats.mapping.load import load

FOLDER = Path(__file__).resolve().parents[3] / "fixtures" / "exports"
NAMES = sorted(p.name for p in FOLDER.iterdir() if p.is_dir())


def export(name: str) -> Path:
    """The export of a layout."""
    (found,) = [p for p in (FOLDER / name).iterdir() if p.name not in ("truth.zip", "mapping.toml")]
    return found


def test_every_layout_has_its_fixture() -> None:
    assert sorted(LAYOUTS) == NAMES
    assert len(NAMES) >= 14


@pytest.mark.parametrize("name", NAMES)
def test_an_export_reads_to_its_truth(name: str) -> None:
    reading = formats.read(export(name), mapping=FOLDER / name / "mapping.toml", draft=False)
    account = ConversionAccount()
    found = plain(account.counted(reading))
    truth = plain(formats.read(FOLDER / name / "truth.zip"))
    assert differences(found, truth) == []
    cells = account.cells
    assert cells["read"] == cells["mapped"] + cells["extras"] + cells["ignored"]
    assert cells["read"] > 0
    assert account.set_aside == []


@pytest.mark.parametrize("name", NAMES)
def test_every_extra_is_a_cell_of_the_account(name: str) -> None:
    account, extras = ConversionAccount(), 0
    for batch in account.counted(formats.read(export(name), mapping=FOLDER / name / "mapping.toml")):
        extras += batch["extras"].num_rows
    assert extras == account.cells["extras"]


@pytest.mark.parametrize("name", NAMES)
def test_a_draft_places_the_cells_rightly(name: str) -> None:
    mapping = load(FOLDER / name / "mapping.toml")
    expected = {(t.name, f.source): str(f.to) for file in mapping.files for t in file.tables for f in t.fields}
    found = score(draft_of(export(name)), expected)
    assert found.wrong_and_sure == []
    assert found.share >= 0.9, found


@pytest.mark.parametrize("name", [n for n in NAMES if LAYOUTS[n].__module__ != "invented.books"])
def test_the_export_is_what_the_script_writes(name: str) -> None:
    files, _ = LAYOUTS[name]()
    for file, data in files.items():
        assert (FOLDER / name / file).read_bytes() == data
