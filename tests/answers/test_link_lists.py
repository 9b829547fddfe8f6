"""Lists of links among exports become revisions of the schedule, never tests."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "store"))

from store_making import batch, rows

from archive import formats, store
from archive.answers.intake import Choices, ingest
from archive.answers.job_schedule import latest_schedule
from archive.answers.progress import progress
from archive.answers.reread import reread
from archive.errors import Trouble
from archive.store import Archive
from archive.store.deposits import DepositFacts

FACTS = DepositFacts(job="J", by="R. Ostrander")


@pytest.fixture
def archive(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Archive:
    monkeypatch.setenv("MUNIMENT_CACHE", str(tmp_path / "cache"))
    return store.create(tmp_path / "archive")


def listed(folder: Path, name: str, labels: list[str], floor: str = "2") -> Path:
    folder.mkdir(exist_ok=True)
    (folder / name).write_text("Run;Floor\n" + "".join(f"{label};{floor}\n" for label in labels), encoding="utf-8")
    return folder / name


def test_a_list_in_the_folder_is_the_schedule_and_no_test(archive: Archive, tmp_path: Path) -> None:
    folder = tmp_path / "in"
    listed(folder, "link list rev B.csv", ["A1", "A2", "A3"])
    formats.write([batch(rows("A1"))], folder / "a1.xml")
    made = ingest(archive, [folder], FACTS)
    assert made.counts["new"] == 1
    assert made.details["schedules"][0]["added"] == ["A1", "A2", "A3"]
    told = progress(archive, "J").plain()
    assert (told["scheduled"], told["tested"], told["missing"]) == (3, 1, ["A2", "A3"])
    assert made.entry is not None
    again = reread(archive, made.entry["deposit"], None, by=None, reason="x")
    assert again.counts["new"] == 0
    assert progress(archive, "J").plain()["tested"] == 1


def test_a_new_revision_replaces_and_a_list_of_other_links_adds(archive: Archive, tmp_path: Path) -> None:
    ingest(archive, [listed(tmp_path / "1", "b.csv", ["A1", "A2", "A3"])], FACTS)
    made = ingest(archive, [listed(tmp_path / "2", "c.csv", ["A1", "A2", "A4"])], FACTS)
    (changed,) = made.details["schedules"]
    assert (changed["added"], changed["removed"], changed["changed"]) == (["A4"], ["A3"], [])
    ingest(archive, [listed(tmp_path / "3", "d.csv", ["B1", "B2"])], FACTS)
    assert [label for label, *_ in latest_schedule(archive, "J")] == ["A1", "A2", "A4", "B1", "B2"]
    assert ingest(archive, [listed(tmp_path / "4", "e.csv", ["B1", "B2"])], FACTS).entry is None


def test_a_line_that_says_something_else_is_told(archive: Archive, tmp_path: Path) -> None:
    ingest(archive, [listed(tmp_path / "1", "b.csv", ["A1", "A2"])], FACTS)
    made = ingest(archive, [listed(tmp_path / "2", "c.csv", ["A1", "A2"], floor="3")], FACTS)
    assert made.details["schedules"][0]["changed"] == ["A1", "A2"]


def test_a_shorter_list_that_is_declared_whole_removes_links(archive: Archive, tmp_path: Path) -> None:
    """The same list without that word is taken for a part of the schedule; given again, it changes nothing."""
    ingest(archive, [listed(tmp_path / "1", "b.csv", ["A1", "A2", "A3"])], FACTS)
    shorter = listed(tmp_path / "2", "c.csv", ["A1", "A2"])
    assert ingest(archive, [shorter], FACTS).entry is None
    made = ingest(archive, [shorter], FACTS, Choices(whole_schedule=True))
    (changed,) = made.details["schedules"]
    assert (changed["links"], changed["removed"]) == (2, ["A3"])
    assert [label for label, *_ in latest_schedule(archive, "J")] == ["A1", "A2"]
    assert ingest(archive, [shorter], FACTS, Choices(whole_schedule=True)).entry is None
    ingest(archive, [], FACTS, Choices(schedule=listed(tmp_path / "3", "d.csv", ["B1", "B2"]), whole_schedule=True))
    assert [label for label, *_ in latest_schedule(archive, "J")] == ["B1", "B2"]


def test_what_fails_after_the_commit_is_said_on_the_receipt(
    archive: Archive, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def damaged(*_: object) -> None:
        raise Trouble("the file is not the one that the ledger commits", code="archive.file-damaged", where="x")

    monkeypatch.setattr("archive.answers.intake.changes", damaged)
    made = ingest(archive, [listed(tmp_path / "1", "b.csv", ["A1", "A2"])], FACTS)
    assert made.entry is not None
    (said,) = made.details["cautions"]
    assert said.startswith("the deposit stands; the schedule: x: the file is not the one")
    assert store.open(archive.root).deposit_entry(made.entry["deposit"]).number == made.entry.number


def test_a_receipt_is_given_where_the_archive_cannot_be_asked_after_the_commit(
    archive: Archive, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    ingest(archive, [listed(tmp_path / "1", "b.csv", ["A1", "A2"])], FACTS)
    entries, asked = archive.catch_up(), Archive.catch_up

    def once_more(self: Archive) -> int:
        if self.ledger.count() > entries:
            raise OSError(5, "Input/output error")
        return asked(self)

    with monkeypatch.context() as patch:
        patch.setattr(Archive, "catch_up", once_more)
        made = ingest(archive, [listed(tmp_path / "2", "c.csv", ["A1", "A3"])], FACTS)
    assert made.entry is not None
    assert "Input/output error" in " ".join(made.details["cautions"])
    assert [label for label, *_ in latest_schedule(store.open(archive.root), "J")] == ["A1", "A3"]
