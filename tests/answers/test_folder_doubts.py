"""Folders that speak against the place of a record raise a doubt in the receipt, and decide nothing."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "store"))

from store_making import Rows, batch, rows

from archive import formats, store
from archive.answers import intake
from archive.answers.folder_doubts import all_folder_doubts
from archive.answers.intake import ingest
from archive.answers.receipt import ReceiptFacts, next_step
from archive.cli import receipts
from archive.store import Archive
from archive.store.deposits import DepositFacts, Receipt
from archive.tables import with_id
from tests.answers.test_shelf import HEADINGS, MAPPING
from tests.cli.person import typed

FACTS = DepositFacts(job="J", site="Quay", by="R. Ostrander")


@pytest.fixture
def archive(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Archive:
    """One link in each of two buildings."""
    monkeypatch.setenv("MUNIMENT_CACHE", str(tmp_path / "cache"))
    made = store.create(tmp_path / "archive")
    first = ingest(made, [handed_in(tmp_path / "1", {"a": ("X1", "East"), "b": ("X2", "West")})], FACTS)
    assert "doubts" not in first.details
    return made


def handed_in(folder: Path, files: dict[str, tuple[str, str | None]], floor: str | None = None) -> Path:
    """A folder with open forms, each of one test of a label in a building, first read from a file in a folder."""
    for n, (name, (label, building)) in enumerate(files.items()):
        one: Rows = rows(
            label, shift=0.3 * n + len(str(folder)) / 7, place=f"row {n}", source=f"{folder.name[0]}{n}" * 32
        )
        if building:
            place = with_id("places", {"building": building, "floor": floor})
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
    assert made.details["doubts"] == [wanted] and made.look
    assert f"IN DOUBT: {wanted}" in receipts.text(ReceiptFacts(made, "archive"), 200)
    found = archive.db.execute("SELECT building FROM records WHERE link_label = 'A1'").fetchall()
    assert [r[0] for r in found] == ["East"]


def test_equal_labels_of_no_place_in_two_folders_raise_a_doubt(archive: Archive, tmp_path: Path) -> None:
    made = deposit(archive, handed_in(tmp_path / "333", {"one": ("B1", None), "two": ("B1", None)}))
    (doubt,) = made.details["doubts"]
    assert doubt.startswith("B1: tests that state no place lie in several folders (one, two)")


def test_a_floor_in_words_speaks_against_another_floor(archive: Archive, tmp_path: Path) -> None:
    made = deposit(archive, handed_in(tmp_path / "77", {"floor 2": ("E1", "East"), "Level_01": ("E2", "East")}, "1"))
    (doubt,) = made.details["doubts"]
    assert doubt == "E1: the record says floor 1, and its file lies in a folder named as floor 2"
    assert next_step(ReceiptFacts(made, "archive", "J")).startswith(
        "muniment identity archive --job J --folder 'floor 2' floor=2"
    )


def test_a_person_settles_what_a_folder_tells_afterwards(archive: Archive, tmp_path: Path) -> None:
    """By an amendment, or by an event that keeps the records as they are; both in the ledger."""
    deposit(archive, handed_in(tmp_path / "88", {"one": ("F1", None), "two": ("F1", None)}))
    before = archive.head().size
    assert typed("identity", archive.root, "--folder", "two", "floor=2", "--by", "R", "--reason", "plan").code == 0
    floors = "SELECT floor FROM records WHERE link_label = 'F1' ORDER BY row"
    opened = store.open(archive.root)
    opened.catch_up()
    assert [r[0] for r in opened.db.execute(floors)] == [None, "2"] and opened.head().size == before + 1
    assert not all_folder_doubts(opened)
    deposit(opened, handed_in(tmp_path / "99", {"three": ("G1", None), "four": ("G1", None)}))
    assert typed("identity", opened.root, "--job", "J").code == 1
    said = typed("identity", opened.root, "--folder", "three", "keep", "--by", "R")
    assert said.code == 0 and "ledger entry" in said.out
    assert typed("identity", opened.root).code == 0
    again = typed("identity", opened.root, "--folder", "three", "keep", "--by", "R")
    assert again.code == 2 and "no doubt about such a folder is open" in again.line


def test_a_person_settles_what_a_folder_tells_at_the_deposit(archive: Archive, tmp_path: Path) -> None:
    folder = handed_in(tmp_path / "aa", {"one": ("H1", None), "two": ("H1", None)})
    inner = folder / "floor 7"
    inner.mkdir()
    (folder / "0.xml").rename(inner / "0.xml")
    words = ("deposit", folder, "--into", archive.root, "--job", "J", "--by", "R")
    wrong = typed(*words, "--folder", "floor 8", "floor=8")
    assert wrong.code == 2 and "floor 7" in wrong.line
    assert "FIELD=VALUE" in typed(*words, "--folder", "floor 7", "storey=8").line
    said = typed(*words, "--folder", "one", "floor=1", "--dry-run")
    assert said.code == 2 and "no file lies in such a folder" in said.line


def test_what_was_said_of_a_folder_at_the_deposit_is_an_amendment(archive: Archive, tmp_path: Path) -> None:
    folder = tmp_path / "exports"
    (folder / "floor 7").mkdir(parents=True)
    row = "K1;04.03.2019 10:15;good;TIA-568-C.2 Cat 6;40-00317;12,1;01.02.2020"
    (folder / "floor 7" / "a.csv").write_text(f"{HEADINGS}\n{row}\n", encoding="utf-8")
    (tmp_path / "heron.toml").write_text(MAPPING, encoding="utf-8")
    words = ("--into", archive.root, "--job", "J", "--site", "Quay", "--by", "R", "--mapping", tmp_path / "heron.toml")
    said = typed("deposit", folder, *words, "--folder", "floor 7", "floor=7")
    assert "floor 7: floor 7 for 1 record, by ledger entry" in " ".join(said.out.split())
    opened = store.open(archive.root)
    opened.catch_up()
    assert [r[0] for r in opened.db.execute("SELECT floor FROM records WHERE link_label = 'K1'")] == ["7"]


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
