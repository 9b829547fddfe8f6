"""What was stopped is ended by the next command, run twice is done once, and repair says what it left."""

from __future__ import annotations

import importlib
import shutil
import threading
from pathlib import Path
from typing import Any

import pytest
from store_crash import Machine, machine, steps
from store_making import batch, deposit, rows

from archive import disk, store
from archive.answers.regrade import regrade
from archive.errors import Trouble
from archive.permission import not_permitted
from archive.store import Archive, aside, layout
from archive.store.catalogue.filters import Filters
from archive.store.copies import export, repair
from archive.store.documents import DocumentFacts, attach, programs
from archive.store.events.redact import of_file, of_name, redact
from archive.store.fixity import fixity

JOB = "HARBOUR-2019-04"


@pytest.fixture(autouse=True)
def the_stopped_program_is_gone(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(aside, "_runs", lambda _pid, _started: False)


@pytest.fixture
def full(archive: Archive, tmp_path: Path) -> Archive:
    """An archive with two deposits, and a copy of it beside."""
    original = tmp_path / "export.csv"
    original.write_text("invented,cells\n")
    deposit(archive, batch(rows()), originals=[(original, "export.csv")])
    deposit(archive, batch(rows("B", source="b" * 64, shift=1)), by="S. Wexcombe")
    export(archive, tmp_path / "copy")
    return archive


def harm(root: Path) -> None:
    """A ledger entry that is gone, a table that was changed, and strays of every kind."""
    layout.entry_path(root, 2).unlink()
    bag = next((root / "deposits").glob("*/*"))
    table = bag / "data" / "tables" / "records.parquet"
    table.chmod(0o644)
    table.write_bytes(b"x")
    for stray in (
        "ledger/0000/.00000002.json.11253.5e1a4bc4",
        "ledger/notes.txt",
        "schema/x-vocabulary.toml",
        "photographs/1.jpg",
        "notes.txt",
        f"{bag.relative_to(root)}/data/added.csv",
        f"{bag.relative_to(root)}/added.txt",
    ):
        path = root / stray
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text("x")


def test_repair_removes_or_names_every_stray_file(full: Archive, tmp_path: Path) -> None:
    harm(full.root)
    done = repair(store.open_damaged(full.root), tmp_path / "copy")
    assert done.left == []
    assert len(done.kept_apart) == 8
    assert all((full.root / path).exists() for path in done.kept_apart)
    assert fixity(store.open(full.root), "deep").sound


def test_repair_is_never_done_while_fixity_finds_something(full: Archive, tmp_path: Path) -> None:
    harm(full.root)
    lost = "data/originals.zip"
    bag = next(p for p in (full.root / "deposits").glob("*/*") if (p / lost).is_file())
    for root in (full.root, tmp_path / "copy"):
        path = root / bag.relative_to(full.root) / lost
        path.chmod(0o644)
        path.write_bytes(b"lost in both")
    done = repair(store.open_damaged(full.root), tmp_path / "copy")
    assert [d.path for d in done.left] == [f"{bag.relative_to(full.root)}/{lost}"]
    assert [d.path for d in fixity(store.open(full.root)).damaged] == [d.path for d in done.left]


def test_a_repair_that_was_stopped_is_ended_by_the_next(full: Archive, tmp_path: Path) -> None:
    template = tmp_path / "template"
    harm(full.root)
    shutil.copytree(full.root, template)

    def fresh(name: str) -> Archive:
        shutil.copytree(template, tmp_path / name)
        return store.open_damaged(tmp_path / name)

    whole = fresh("whole")
    total = steps(lambda: repair(whole, tmp_path / "copy")).count
    assert total > 20
    for stop in range(total):
        stopped = fresh(str(stop))
        with machine(stop, power=stop % 2 == 1) as made:
            repair(stopped, tmp_path / "copy")
        assert made.dead
        done = repair(store.open_damaged(stopped.root), tmp_path / "copy")
        assert done.left == [], made.seen[-1:]
        assert fixity(store.open(stopped.root)).sound
        shutil.rmtree(stopped.root)


def stopped_before_removal(archive: Archive, plan: Any) -> Machine:
    """Stops a redaction between its entry and the removal of the bytes."""

    def stop(what: str, path: Path, _old: Path | None) -> None:
        if what == "remove" and path.suffix in (".parquet", ".zip"):
            made.dead = True
        made(what, path, _old)

    with machine() as made:
        disk.watcher = stop
        redact(archive, plan, by="A. Clerk", reason="asked for")
    assert made.dead
    return made


def test_a_redaction_that_was_stopped_is_ended_by_the_next_question(full: Archive) -> None:
    stopped_before_removal(full, of_name(full, "S. Wexcombe"))
    table = [p for p in full.root.rglob("people.parquet") if b"Wexcombe" in p.read_bytes()]
    assert table, "the bytes are still there"
    count = layout.entry_count(full.root)
    again = store.open(full.root)
    again.catch_up()
    assert not any(p.exists() for p in table)
    assert list(again.ended.values()) == [count - 1]
    assert fixity(again).sound
    assert layout.entry_count(full.root) == count


@pytest.mark.parametrize("stopped", [True, False])
def test_the_same_redaction_makes_one_entry(full: Archive, stopped: bool) -> None:
    if stopped:
        stopped_before_removal(full, of_name(full, "S. Wexcombe"))
        count = layout.entry_count(full.root)
        again = store.open(full.root)
        plan = of_name(again, "S. Wexcombe")
        assert plan.done_by == count - 1
        assert redact(again, plan, by="A. Clerk", reason="asked for").number == count - 1
    original = next(full.root.glob("deposits/*/*/data/originals.zip")).relative_to(full.root).as_posix()
    made = redact(full, of_file(full, original), by="A. Clerk", reason="asked for")
    count = layout.entry_count(full.root)
    again = store.open(full.root)
    assert redact(again, of_file(again, original), by="A. Clerk", reason="asked for").number == made.number
    assert layout.entry_count(full.root) == count


def test_what_is_redacted_is_what_was_committed(full: Archive) -> None:
    """A table of people that somebody changed is damage: no tombstone is written over other bytes."""
    plan = of_name(full, "S. Wexcombe")
    path = full.root / next(iter(plan.gone))
    path.chmod(0o644)
    path.write_bytes(path.read_bytes() + b"x")
    with pytest.raises(Trouble, match="not the one that the ledger commits"):
        redact(full, plan, by=None, reason=None)


def test_the_same_regrade_makes_one_entry(full: Archive) -> None:
    against = ["tia-568.2-d/cat6/permanent-link"]
    first = regrade(full, Filters(), against=against, by="R. Ostrander", reason="asked")
    second = regrade(full, Filters(), against=against, by="A. Clerk", reason="asked again")
    assert (first.new, second.new) == (True, False)
    assert second.entry.number == first.entry.number
    assert regrade(full, Filters(link="B"), against=against, by=None, reason=None).new
    assert regrade(full, Filters(), against=["tia-568.2-d/cat6a/permanent-link"], by=None, reason=None).new
    report = fixity(full)
    assert report.sound and report.uncommitted == []
    assert list((full.root / "aside").iterdir()) == []


def test_an_export_beside_writers_is_what_it_was_when_it_began(
    full: Archive, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Entries that come in while it copies come with the next one."""
    module = importlib.import_module("archive.store.copies.export")
    real, number = module.copy_entry, 0

    def beside(*given: Any) -> int:
        nonlocal number
        number += 1
        deposit(store.open(full.root), batch(rows(f"W{number}", source=f"{number:064d}", shift=number)))
        return real(*given)

    monkeypatch.setattr(module, "copy_entry", beside)
    for target in (tmp_path / "copy", tmp_path / "new"):
        size = store.open(full.root).head().size
        made = export(full, target)
        assert layout.entry_count(target) == size
        assert made.head == store.open(full.root).head(size).root
        with pytest.MonkeyPatch.context() as patch:  # another machine, which saw nothing of what came in meanwhile
            patch.setenv("MUNIMENT_CACHE", str(tmp_path / "another"))
            assert fixity(store.open(target), "deep").sound
    assert number >= 3


def test_two_writers_of_one_copy_end_with_a_sound_copy(full: Archive, tmp_path: Path) -> None:
    faults: list[BaseException] = []

    def work() -> None:
        try:
            for _ in range(3):
                export(store.open(full.root), tmp_path / "copy")
        except BaseException as fault:  # noqa: BLE001 - looked at below
            faults.append(fault)

    threads = [threading.Thread(target=work) for _ in range(2)]
    for thread in threads:
        thread.start()
    for number in range(4):
        deposit(full, batch(rows(f"T{number}", source=f"{number:064d}", shift=number)))
    for thread in threads:
        thread.join()
    assert all(isinstance(f, (OSError, Trouble)) for f in faults), faults
    export(store.open(full.root), tmp_path / "copy")
    assert fixity(store.open(tmp_path / "copy")).plain()["damaged"] == []


def test_lost_empty_folders_are_made_again(full: Archive, tmp_path: Path) -> None:
    """A copy by zip or synchronisation has no empty folders."""
    bare = store.create(tmp_path / "bare")
    for folder in sorted((p for p in bare.root.rglob("*") if p.is_dir()), reverse=True):
        if not any(folder.iterdir()):
            folder.rmdir()
    assert not (bare.root / "deposits").exists() and not (bare.root / "aside").exists()
    again = store.open(bare.root)
    made = deposit(again, batch(rows()))
    assert made.entry is not None
    redact(again, of_name(again, "R. Ostrander"), by=None, reason="asked")
    regrade(again, Filters(), by=None, reason=None)
    assert fixity(store.open(bare.root), "deep").sound


def test_an_attachment_of_equal_bytes_is_told(full: Archive, tmp_path: Path) -> None:
    one, two, three = (tmp_path / name for name in ("one.pdf", "two.pdf", "three.pdf"))
    for path, text in ((one, "x"), (two, "x"), (three, "y")):
        path.write_text(text)
    made = attach(full, [one, two, three], DocumentFacts(JOB, "certificate"), by=None)
    assert [r["file_name"] for r in made.rows] == ["one.pdf", "three.pdf"]
    assert made.repeated == {str(two): "one.pdf"}
    again = attach(full, [three], DocumentFacts(JOB, "certificate"), by=None)
    assert (again.entry, again.repeated) == (None, {str(three): "three.pdf"})


def test_a_program_among_documents_is_told(tmp_path: Path) -> None:
    made = {
        "setup.exe": b"anything",
        "run.sh": b"echo",
        "=cmd.lnk": b"x",
        "invoice.pdf": b"MZ\x90\x00",
        "letter": b"#!/bin/sh\n",
        "drawing.dwg": b"AC1032",
        "certificate.pdf": b"%PDF-1.7",
        "empty.txt": b"",
    }
    for name, data in made.items():
        (tmp_path / name).write_bytes(data)
    found = programs([tmp_path / name for name in made])
    assert [p.name for p in found] == ["setup.exe", "run.sh", "=cmd.lnk", "invoice.pdf", "letter"]


def test_a_fault_of_rights_says_who_may_grant_what(tmp_path: Path) -> None:
    error = PermissionError(13, "Permission denied", str(tmp_path / "aside" / "2026-12-01-0123456789"))
    said = str(not_permitted(error))
    assert str(tmp_path) in said and "mode" in said and "can grant" in said
    assert "\n" not in said
