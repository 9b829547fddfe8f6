"""A ledger entry that ends too early is never read as absent: it is finished from its intent, or a person decides."""

from __future__ import annotations

import json
import os
import shutil
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from store_making import batch, deposit, rows

from archive import disk, store
from archive.answers.jobs import state
from archive.errors import Trouble
from archive.store import Archive, aside, layout
from archive.store.copies import export, repair
from archive.store.events import held, hold, void
from archive.store.fixity import fixity
from archive.store.ledger import log
from archive.store.proofs import holds, prove, verify

JOB = "HARBOUR-2019-04"


@pytest.fixture(autouse=True)
def no_patience(monkeypatch: pytest.MonkeyPatch) -> None:
    """Nobody is writing the entry that is torn."""
    monkeypatch.setattr(log, "_PATIENCE", 0.0)


def last(archive: Archive) -> Path:
    return layout.entry_path(archive.root, layout.entry_count(archive.root) - 1)


def cut(path: Path, size: float) -> bytes:
    """Cuts a file short; gives its bytes."""
    data = path.read_bytes()
    path.chmod(0o644)
    path.write_bytes(data[: int(len(data) * size)])
    return data


def another_machine(archive: Archive, own_cache: Path) -> Archive:
    """The archive as a machine sees it that never saw it before."""
    shutil.rmtree(own_cache / "cache", ignore_errors=True)
    return store.open(archive.root)


@pytest.fixture
def with_hold(archive: Archive) -> Archive:
    """An archive whose last entry puts a job under a legal hold."""
    deposit(archive, batch(rows()))
    hold(archive, JOB, release=False, by="A. Clerk", reason="claim")
    return archive


QUESTIONS: dict[str, Callable[[Archive], Any]] = {
    "records": lambda a: a.catch_up(),
    "holds": lambda a: held(a, JOB),
    "head": lambda a: a.head(),
    "deposit": lambda a: deposit(a, batch(rows("AFTER", source="e" * 64, shift=6))),
    "job": lambda a: state(a, JOB, ["site=Quay"], by=None, reason=None),
}


@pytest.mark.parametrize("machine_knows", [True, False], ids=["warm", "fresh"])
@pytest.mark.parametrize("size", [0.0, 0.4, 0.95, 0.999])
@pytest.mark.parametrize("question", QUESTIONS)
def test_nobody_reads_a_torn_entry_as_absent_and_nobody_writes_after_it(
    with_hold: Archive, question: str, size: float, machine_knows: bool, own_cache: Path
) -> None:
    before = sorted(p for p in with_hold.root.rglob("*"))
    cut(last(with_hold), size)
    again = store.open(with_hold.root) if machine_knows else another_machine(with_hold, own_cache)
    with pytest.raises(Trouble, match="ends too early") as raised:
        QUESTIONS[question](again)
    assert raised.value.code == "ledger.entry-torn"
    assert "muniment void" in raised.value.remedy
    assert sorted(p for p in with_hold.root.rglob("*")) == before
    report = fixity(store.open_damaged(with_hold.root))
    assert not report.sound
    assert any("ends too early" in d.what for d in report.damaged)


def test_a_copy_puts_it_right(with_hold: Archive, tmp_path: Path, own_cache: Path) -> None:
    export(with_hold, tmp_path / "copy")
    cut(last(with_hold), 0.5)
    again = another_machine(with_hold, own_cache)
    assert repair(again, tmp_path / "copy").left == []
    assert held(store.open(with_hold.root), JOB)


def test_a_decision_is_an_entry_and_every_later_answer_carries_it(with_hold: Archive, own_cache: Path) -> None:
    cut(last(with_hold), 0.5)
    again = another_machine(with_hold, own_cache)
    made = void(again, 2, by="R. Ostrander", reason="neither copy has it")
    assert (made.number, made["voids"], made["entry"]) == (3, [2], 2)
    assert not held(again, JOB)
    late = deposit(again, batch(rows("AFTER", source="e" * 64, shift=6)))
    assert late.entry is not None
    report = fixity(store.open(with_hold.root), "deep")
    assert report.sound, report.damaged
    assert [c for c in report.cautions if "entry 2" in c and "R. Ostrander" in c and "neither copy has it" in c]
    assert len(report.uncommitted) == 1, "the hold's event stands there without an entry"
    assert holds(verify(prove(again, f"{late.entry['deposit']}/0", since=again.head(2).root), again.head().root))
    with pytest.raises(Trouble, match="decided before"):
        void(again, 2, by=None, reason="again")
    path = layout.entry_path(with_hold.root, 2)
    path.write_bytes(path.read_bytes() + b"x")
    assert not fixity(store.open(with_hold.root)).sound, "the torn file is kept as it was"


def test_a_machine_that_saw_the_entry_whole_says_so_in_the_decision(with_hold: Archive) -> None:
    with_hold.head()
    cut(last(with_hold), 0.5)
    made = void(store.open(with_hold.root), 2, by=None, reason="the disk failed")
    assert made["seen_whole"]
    assert any("seen it whole" in c for c in fixity(store.open(with_hold.root)).cautions)


def test_only_a_torn_entry_is_voided(with_hold: Archive) -> None:
    for number in (1, 2, 7):
        with pytest.raises(Trouble) as raised:
            void(with_hold, number, by=None, reason="x")
        assert raised.value.code == "void.not-torn"
    assert fixity(with_hold).sound


def test_an_entry_that_an_earlier_program_voided_is_told_until_somebody_decides(
    with_hold: Archive, monkeypatch: pytest.MonkeyPatch, own_cache: Path
) -> None:
    """Earlier states of the program let the next writer void a torn entry by itself."""
    cut(last(with_hold), 0.5)
    again = another_machine(with_hold, own_cache)
    again.ledger.deciding = 2  # as they took every torn entry
    deposit(again, batch(rows("AFTER", source="e" * 64, shift=6)))
    report = fixity(store.open(with_hold.root))
    assert [d.path for d in report.damaged] == ["ledger/0000/00000002.json"]
    assert "nobody decided" in report.damaged[0].what
    assert store.open(with_hold.root).catch_up() == 4, "it can be read as it could before"
    void(store.open(with_hold.root), 2, by="R. Ostrander", reason="looked at both copies")
    report = fixity(store.open(with_hold.root))
    assert report.sound, report.damaged
    assert len(report.cautions) == 1


# --- exclusive creation, where a writer that stops may leave a torn entry ------------------------------------------


@pytest.fixture
def no_links(monkeypatch: pytest.MonkeyPatch) -> None:
    def refuse(*_: Any) -> None:
        raise PermissionError(1, "links are not supported here")

    monkeypatch.setattr(os, "link", refuse)
    monkeypatch.setattr(disk, "_rename_without_replace", lambda _old, _new: None)
    monkeypatch.setattr(aside, "_runs", lambda _pid, _started: False)


def stopping_at(place: Path, size: float, error: BaseException) -> Callable[[Path], Any]:
    """disk.create as it is, but for one file, of which a part is written before everything ends."""
    create = disk.create

    def made(path: Path) -> Any:
        file = create(path)
        if path == place:
            write = file.write
            file = _Stopping(file, lambda data: (write(data[: int(len(data) * size)]), file.flush()), error)
        return file

    return made


class _Stopping:
    def __init__(self, file: Any, write: Callable[[bytes], Any], error: BaseException) -> None:
        self._file, self._write, self._error = file, write, error

    def write(self, data: bytes) -> None:
        self._write(data)
        raise self._error

    def __getattr__(self, name: str) -> Any:
        return getattr(self._file, name)

    def __enter__(self) -> Any:
        return self

    def __exit__(self, *_: object) -> None:
        self._file.close()


class Stopped(BaseException):
    """The program is no more."""


@pytest.mark.parametrize("size", [0.0, 0.5, 0.99])
def test_an_entry_whose_writer_stopped_is_finished_by_the_next(
    archive: Archive, no_links: None, size: float, monkeypatch: pytest.MonkeyPatch, own_cache: Path
) -> None:
    deposit(archive, batch(rows()))
    place = layout.entry_path(archive.root, 2)
    with monkeypatch.context() as patch:
        patch.setattr(disk, "create", stopping_at(place, size, Stopped()))
        patch.setattr(aside, "take_back", lambda _archive, _folder: None)
        with pytest.raises(Stopped):
            hold(archive, JOB, release=False, by="A. Clerk", reason="claim")
    assert log.judge(place.read_bytes()) == "torn"
    again = another_machine(archive, own_cache)
    assert held(again, JOB)
    aside.begin(again, "next").end()
    report = fixity(again)
    assert (report.damaged, report.uncommitted, report.cautions) == ([], [], [])
    assert list((again.root / "aside").iterdir()) == []


def test_who_may_not_write_is_told_and_leaves_everything(
    archive: Archive, no_links: None, monkeypatch: pytest.MonkeyPatch, own_cache: Path
) -> None:
    deposit(archive, batch(rows()))
    place = layout.entry_path(archive.root, 2)
    with monkeypatch.context() as patch:
        patch.setattr(disk, "create", stopping_at(place, 0.5, Stopped()))
        patch.setattr(aside, "take_back", lambda _archive, _folder: None)
        with pytest.raises(Stopped):
            hold(archive, JOB, release=False, by="A. Clerk", reason="claim")

    def refuse(_path: Path) -> Any:
        raise PermissionError(13, "permission denied")

    with monkeypatch.context() as patch:
        patch.setattr(disk, "create", refuse)
        with pytest.raises(Trouble, match="ends too early"):
            another_machine(archive, own_cache).catch_up()
    assert held(another_machine(archive, own_cache), JOB)


def test_an_intent_of_another_entry_finishes_nothing(with_hold: Archive, own_cache: Path) -> None:
    whole = json.loads(last(with_hold).read_bytes())
    intent = with_hold.root / "aside" / "somebody.x.1.1"
    intent.mkdir()
    other = log.build({**{k: v for k, v in whole.items() if k != "sha256"}, "job": "OTHER"})
    (intent / "00000002-0123456789abcdef.json").write_bytes(other)
    cut(last(with_hold), 0.9)
    with pytest.raises(Trouble, match="ends too early"):
        another_machine(with_hold, own_cache).catch_up()


def test_a_full_disk_takes_its_own_torn_entry_back(
    with_hold: Archive, no_links: None, monkeypatch: pytest.MonkeyPatch
) -> None:
    place = layout.entry_path(with_hold.root, 3)
    with monkeypatch.context() as patch:
        patch.setattr(disk, "create", stopping_at(place, 0.5, OSError(28, "no space left on device", str(place))))
        with pytest.raises(OSError, match="no space"):
            hold(with_hold, JOB, release=True, by=None, reason=None)
    assert not place.exists()
    assert held(store.open(with_hold.root), JOB)
    assert fixity(with_hold).uncommitted == []
