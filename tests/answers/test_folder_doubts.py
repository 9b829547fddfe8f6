"""Folders that speak against the place of a record raise a doubt in the receipt, and decide nothing."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "store"))

from store_making import Rows, batch, rows

from archive import formats, store
from archive.answers import intake
from archive.answers.intake import ingest
from archive.answers.receipt import ReceiptFacts
from archive.cli import receipts
from archive.store import Archive
from archive.store.deposits import DepositFacts, Receipt
from archive.tables import with_id

FACTS = DepositFacts(job="J", site="Quay", by="R. Ostrander")


@pytest.fixture
def archive(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Archive:
    """One link in each of two buildings."""
    monkeypatch.setenv("MUNIMENT_CACHE", str(tmp_path / "cache"))
    made = store.create(tmp_path / "archive")
    first = ingest(made, [handed_in(tmp_path / "1", {"a": ("X1", "East"), "b": ("X2", "West")})], FACTS)
    assert "doubts" not in first.details
    return made


def handed_in(folder: Path, files: dict[str, tuple[str, str | None]]) -> Path:
    """A folder with open forms, each of one test of a label in a building, first read from a file in a folder."""
    for n, (name, (label, building)) in enumerate(files.items()):
        one: Rows = rows(
            label, shift=0.3 * n + len(str(folder)) / 7, place=f"row {n}", source=f"{folder.name[0]}{n}" * 32
        )
        if building:
            place = with_id("places", {"building": building})
            one["records"][0]["local_place_id"] = place["place_id"]
            one["places"] = [place]
        one["sources"][0]["path"] = f"{name}/{label}.csv"
        folder.mkdir(exist_ok=True)
        formats.write([batch(one)], folder / f"{n}.xml")
    return folder


def deposit(archive: Archive, folder: Path) -> Receipt:
    return ingest(archive, [folder], FACTS)


def test_a_folder_named_as_another_building_raises_a_doubt(archive: Archive, tmp_path: Path) -> None:
    made = deposit(archive, handed_in(tmp_path / "22", {"west": ("A1", "East"), "East": ("A2", "East")}))
    wanted = "A1: the record says building East, and its file lies in a folder named as building West"
    assert made.details["doubts"] == [wanted]
    assert f"IN DOUBT: {wanted}" in receipts.text(ReceiptFacts(made, "archive"), 200)
    found = archive.db.execute("SELECT building FROM records WHERE link_label = 'A1'").fetchall()
    assert [r[0] for r in found] == ["East"]


def test_equal_labels_of_no_place_in_two_folders_raise_a_doubt(archive: Archive, tmp_path: Path) -> None:
    made = deposit(archive, handed_in(tmp_path / "333", {"one": ("B1", None), "two": ("B1", None)}))
    (doubt,) = made.details["doubts"]
    assert doubt.startswith("B1: tests that state no place lie in several folders (one, two)")


def test_unknown_folders_and_stated_places_raise_none(archive: Archive, tmp_path: Path) -> None:
    made = deposit(archive, handed_in(tmp_path / "4444", {"monday": ("C1", "East"), "west": ("C2", "West")}))
    assert "doubts" not in made.details


def test_a_deposit_stands_where_its_folders_could_not_be_compared(
    archive: Archive, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def fails(*_: object) -> list[str]:
        raise OSError("the disk went away")

    monkeypatch.setattr(intake, "folder_doubts", fails)
    made = deposit(archive, handed_in(tmp_path / "55555", {"west": ("D1", "East")}))
    assert made.entry is not None
    assert archive.db.execute("SELECT count(*) FROM records WHERE link_label = 'D1'").fetchone()[0] == 1
    said = receipts.text(ReceiptFacts(made, "archive"), 200)
    assert "TO KNOW: the deposit stands; comparing folders with records: the disk went away" in said
