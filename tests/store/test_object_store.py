"""Archives under an address, on a store in memory: the same keys as files on a disk, whole or not there at each step.

The store in memory is that of obstore, which keeps what RFC 9110 (13.1.1, 13.1.2) says of If-Match and If-None-Match.
"""

from __future__ import annotations

import os
import pickle
import secrets
from pathlib import Path
from typing import Any

import pyarrow.compute as pc
import pytest
from store_crash import machine, steps
from store_making import batch, deposit, rows
from test_kills import WORK, state

from archive import disk, store
from archive.demo.simulator import simulate
from archive.errors import Trouble
from archive.objects import StorePath, place
from archive.objects.refusals import StoreTrouble
from archive.store import Archive, aside, layout, marks
from archive.store.copies import export, merge, repair
from archive.store.events.redact import of_name, redact
from archive.store.fixity import fixity


def address() -> Any:
    """The address of a bucket in memory that nothing lies in."""
    return place(f"memory://b{secrets.token_hex(8)}/archive")


def fresh(root: Any) -> Archive:
    """The archive as a process sees it that has seen nothing of it."""
    root.forget()
    return store.open(root)


def keys(root: Path) -> dict[str, bytes]:
    """Every file or object under a root, without those that count for nothing."""
    found = {p.relative_to(root).as_posix(): p.read_bytes() for p in root.rglob("*") if p.is_file()}
    return {k: v for k, v in found.items() if not k.startswith(("aside/", "catalogue/"))}


@pytest.fixture
def far() -> Archive:
    """A new archive in memory."""
    return store.create(address())


@pytest.fixture
def writers_are_gone(monkeypatch: pytest.MonkeyPatch) -> None:
    """A program that was stopped has the number of this process, and stopped long ago."""
    monkeypatch.setattr(aside, "_runs", lambda _pid, _started: False)
    monkeypatch.setattr(marks, "ON_ITS_WAY", -1e9)


def test_an_address_is_a_path_that_no_file_can_be_opened_by() -> None:
    root = place("s3://certificates/harbour/archive")
    assert isinstance(root, StorePath)
    assert str(root) == "s3://certificates/harbour/archive"
    assert root == place("s3:/certificates/harbour/archive"), "as a pathlib.Path of it has it"
    assert pickle.loads(pickle.dumps(root)) == root
    assert (root / "ledger" / "x.json").relative_to(root).as_posix() == "ledger/x.json"
    assert (root / "ledger").key == "harbour/archive/ledger"
    with pytest.raises(TypeError, match="no file of this machine"):
        os.fspath(root)
    assert place("harbour/archive") == Path("harbour/archive")
    assert isinstance(place("C:/harbour"), Path), "a drive is no scheme"


@pytest.mark.parametrize("said", ["s3://", "s3:///", "s3://bucket/../other", "gs:///"])
def test_an_address_that_names_no_place_is_refused(said: str) -> None:
    with pytest.raises(Trouble, match="names no place on a store"):
        place(said)


def test_what_is_archived_has_the_same_keys_as_on_a_disk(archive: Archive, far: Archive, tmp_path: Path) -> None:
    """A copy of either, on the other side, holds the same bytes under the same names (its own mark aside)."""
    (tmp_path / "x.csv").write_text("invented,cells\n")
    for one in (archive, far):
        deposit(one, batch(rows("A", source="a" * 64)), originals=[(tmp_path / "x.csv", "x.csv")])
        redact(one, of_name(one, "R. Ostrander"), by="A. Clerk", reason="asked for")
        copy = address() if one is archive else tmp_path / "copy"
        export(one, copy)
        assert keys(copy) == keys(one.root)
        found = fixity(store.open(copy), "deep")
        assert found.damaged == []
        assert store.open(copy).head() == one.head()
    assert {k.rsplit("/", 1)[-1] for k in keys(far.root)} == {k.rsplit("/", 1)[-1] for k in keys(archive.root)}


@pytest.mark.parametrize("name", WORK)
def test_stopped_at_each_request_it_is_before_or_after(name: str, tmp_path: Path, writers_are_gone: None) -> None:
    """As test_kills has it for a disk: the next writer takes away what a stopped one had sent."""
    work = {**WORK, "deposit": lambda a: deposit(a, batch(rows("2-TR2-A118", source="b" * 64, shift=1)))}[name]

    def made() -> Archive:
        begun = store.create(address())
        deposit(begun, batch(rows("2-TR2-A117")))
        return begun

    whole = made()
    before, total = state(whole), steps(lambda: work(whole)).count
    after = state(whole)
    assert total > 3
    seen = {"before": 0, "after": 0}
    for stop in range(total):
        stopped = made()
        with machine(stop) as stopping:
            work(stopped)
        assert stopping.dead
        again = fresh(stopped.root)
        found = state(again)
        assert found in (before, after), f"neither before nor after: stopped at {stopping.seen[-1:]}"
        seen["before" if found == before else "after"] += 1
        report = fixity(again)
        assert [d for d in report.damaged if "its bytes are still there" not in d.what] == []
        work(again) if found == before else aside.begin(again, "next").end()
        assert state(again) == after
        last = fixity(fresh(again.root))
        assert (last.damaged, last.uncommitted) == ([], [])
        assert list((again.root / "aside").iterdir()) == []
    assert min(seen.values()) > 0


def test_a_new_archive_is_there_or_is_finished_by_the_next_run() -> None:
    total = steps(lambda: store.create(address())).count
    assert total > 3
    for stop in range(total):
        root = address()
        with machine(stop):
            store.create(root)
        root.forget()
        if not layout.entry_path(root, 0).is_file():
            store.create(root)
        assert fixity(fresh(root)).damaged == []
        with pytest.raises(Trouble, match="there is an archive already"):
            store.create(root)


def test_nothing_is_made_where_something_lies() -> None:
    root = address()
    disk.put(root / "notes.txt", b"something else")
    with pytest.raises(Trouble, match=r"lies under this address already; found notes\.txt"):
        store.create(root)


def test_an_export_goes_on_where_it_stopped(archive: Archive) -> None:
    deposit(archive, batch(rows("A")))
    deposit(archive, batch(rows("B", source="b" * 64, shift=1)))
    total = steps(lambda: export(archive, address())).count
    for stop in range(0, total, 3):
        target = address()
        with machine(stop):
            export(archive, target)
        target.forget()
        export(archive, target)
        assert fresh(target).head() == archive.head()
        assert fixity(fresh(target)).damaged == []


def test_two_who_write_by_turns_lose_and_double_nothing(far: Archive) -> None:
    other = store.open(far.root)
    for number in range(6):
        deposit((far, other)[number % 2], batch(rows(f"L{number}", source=f"{number}" * 64, shift=number)))
    again = fresh(far.root)
    again.catch_up()
    labels = [r[0] for r in again.db.execute("SELECT link_label FROM records ORDER BY row")]
    assert labels == [f"L{n}" for n in range(6)]
    assert [e.number for e in again.entries()] == list(range(7))


def test_a_ledger_that_was_cut_is_told(far: Archive) -> None:
    deposit(far, batch(rows("A")))
    deposit(far, batch(rows("B", source="b" * 64, shift=1)))
    disk.remove(layout.entry_path(far.root, 2))
    with pytest.raises(Trouble, match="does not continue the head"):
        fresh(far.root).catch_up()


def test_an_object_that_was_changed_is_told_and_mended_from_a_disk(far: Archive, tmp_path: Path) -> None:
    made = deposit(far, batch(rows("A")))
    assert made.entry is not None
    export(far, tmp_path / "copy")
    index = far.root / made.entry["path"] / "data" / "index.parquet"
    data = bytearray(index.read_bytes())
    data[40] ^= 1
    disk.put(index, bytes(data))
    again = fresh(far.root)
    with pytest.warns(UserWarning, match="cannot be read"):
        again.catch_up()
    assert fixity(again).damaged[0].path.endswith("data/index.parquet")
    mended = repair(fresh(far.root), tmp_path / "copy")
    assert mended.repaired == [index.relative_to(far.root).as_posix()]
    assert mended.left == []
    assert fixity(fresh(far.root), "deep").damaged == []


def test_an_archive_is_joined_from_a_disk_and_the_other_way(archive: Archive, far: Archive) -> None:
    deposit(archive, batch(rows("A")))
    deposit(far, batch(rows("B", source="b" * 64, shift=1)))
    assert merge(far, archive, by=None, reason="test").deposits == 1
    assert merge(archive, far, by=None, reason="test").deposits == 1
    for one in (archive, far):
        one.catch_up()
        assert one.db.execute("SELECT count(DISTINCT link_label) FROM records").fetchone()[0] == 2
        assert fixity(one, "deep").damaged == []


def test_bytes_that_were_changed_since_they_were_seen_are_never_read(far: Archive) -> None:
    """A read names the ETag that was compared (RFC 9110, 13.1.1)."""
    made = deposit(far, batch(rows("A")))
    assert made.entry is not None
    root: Any = far.root
    path = root / made.entry["path"] / "data" / "tables" / "records.parquet"
    again = fresh(far.root)
    again.catch_up()
    seen = path.stat()
    path.bucket._store.put(path.key, path.read_bytes() + b"x")
    path.bucket._held.clear()
    assert path.stat() == seen
    with pytest.raises(StoreTrouble, match="changed while it was read"):
        path.read_bytes()
    with path.open("rb") as opened, pytest.raises(StoreTrouble, match="changed while it was read"):
        opened.read(1)
    root.look()
    assert path.read_bytes().endswith(b"x")


def test_what_a_writer_sent_is_left_alone_for_an_hour(far: Archive, monkeypatch: pytest.MonkeyPatch) -> None:
    """Its last request may still be on its way, though it is gone itself."""
    alike = store.create(address())
    work = steps(lambda: deposit(alike, batch(rows("A"))))
    with machine([what for what, _ in work.seen].index("link")):
        deposit(far, batch(rows("A")))
    monkeypatch.setattr(aside, "_runs", lambda _pid, _started: False)
    disk.put(far.root / "aside" / "condition-0123456789abcdef", b"first")  # type: ignore[arg-type]
    assert aside.heal(fresh(far.root)) == []
    assert len(fixity(fresh(far.root)).uncommitted) == 1
    monkeypatch.setattr(marks, "ON_ITS_WAY", -1e9)
    assert len(aside.heal(fresh(far.root))) == 1
    assert list((far.root / "aside").iterdir()) == []
    assert fixity(fresh(far.root)).uncommitted == []


def _many(archive: Archive, count: int, shift: float = 0.0) -> str:
    made = deposit(
        archive,
        batch(*(rows(f"L{n:03d}", source=f"{n:064x}", place=f"row {n}", shift=shift + n) for n in range(count))),
    )
    assert made.entry is not None
    return str(made.entry["deposit"])


def test_of_the_curves_only_those_near_a_record_are_fetched(far: Archive) -> None:
    made = deposit(far, simulate(48, 3))
    assert made.entry is not None
    held = made.entry["deposit"]
    curves = next(far.root.rglob("sweeps-*.parquet"))
    assert isinstance(curves, StorePath)
    size = curves.stat().st_size
    again = fresh(far.root)
    whole = again.tables(held).table("sweeps")
    again = fresh(far.root)
    again.catch_up()
    again.db.execute("DELETE FROM checked WHERE path LIKE '%sweeps%'")
    again.digest_all()
    one = again.record(f"{held}/40")
    fetched = {k: len(v) for (k, _), v in curves.bucket._held.items() if k.startswith(curves.key)}
    assert curves.key not in fetched
    assert 0 < sum(fetched.values()) < size / 2
    expected = whole.filter(pc.equal(whole["record_id"], one["records"]["record_id"][0]))
    assert one["sweeps"].equals(expected)


def test_a_record_of_other_curves_is_told_though_its_file_is_read_in_part(far: Archive) -> None:
    """The file of another deposit, whose pages are sound, stands in the place of the one that the ledger commits."""
    held = _many(far, 20)
    other = store.create(address())
    _many(other, 20, shift=0.1)
    curves, theirs = (next(a.root.rglob("sweeps-*.parquet")) for a in (far, other))
    assert isinstance(curves, StorePath)
    disk.put(curves, theirs.read_bytes())
    again = fresh(far.root)
    for position in (0, 19):
        with pytest.raises(Trouble, match=r"sweeps-00000000\.parquet: the file is not the one that the ledger commits"):
            again.record(f"{held}/{position}")
