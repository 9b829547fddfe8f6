"""Full disks, folders that may not be written, clocks that go back, names that bite, file systems without links."""

from __future__ import annotations

import errno
import os
import subprocess
import sys
import tempfile
from collections.abc import Callable, Iterator
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest
from store_crash import steps
from store_making import batch, deposit, rows

from archive import disk, store
from archive.errors import Trouble
from archive.store import Archive, clock, layout, memory
from archive.store.events import withdraw
from archive.store.fixity import fixity
from archive.store.ledger import log

ROOT = Path(__file__).resolve().parents[2]


def do_deposit(archive: Archive) -> None:
    original = archive.root.parent / "export.csv"
    original.write_text("invented,cells\n")
    deposit(archive, batch(rows("NEW", source="b" * 64, shift=1)), originals=[(original, "export.csv")])


def do_withdraw(archive: Archive) -> None:
    archive.catch_up()
    found = archive.db.execute("SELECT deposit || '/0' FROM records").fetchone()
    withdraw(archive, records=[found[0]], by="A. Clerk", reason="x")


def test_a_folder_that_is_no_archive(tmp_path: Path) -> None:
    with pytest.raises(Trouble, match="no such archive"):
        store.open(tmp_path / "nothing")
    with pytest.raises(Trouble, match="no archive"):
        store.open(tmp_path)
    (tmp_path / layout.SETTINGS).write_text("not = [toml")
    with pytest.raises(Trouble, match="damaged"):
        store.open(tmp_path)
    (tmp_path / layout.SETTINGS).write_text('[archive]\nid = "ar-1"\nformat = 2\n')
    with pytest.raises(Trouble, match="later format"):
        store.open(tmp_path)
    with pytest.raises(Trouble, match="already"):
        store.create(tmp_path)
    (tmp_path / "file").write_text("x")
    with pytest.raises(Trouble):
        store.create(tmp_path / "file")
    other = tmp_path / "full"
    other.mkdir()
    (other / "x").write_text("x")
    with pytest.raises(Trouble, match="not empty"):
        store.create(other)


@pytest.mark.parametrize("work", [do_deposit, do_withdraw])
@pytest.mark.parametrize("kind", [errno.ENOSPC, errno.EIO, errno.EACCES])
def test_a_disk_that_fails_at_any_step(
    archive: Archive, work: Callable[[Archive], None], kind: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    """At every step once: one OSError, nothing half-done, nothing left aside, and it works when there is room again."""
    deposit(archive, batch(rows()))
    head = archive.head()
    failed = 0
    for stop in range(200):
        count = 0

        def fail(what: str, path: Path, old: Path | None, stop: int = stop) -> None:
            nonlocal count
            count += 1
            if count == stop + 1 and what != "remove":
                raise OSError(kind, os.strerror(kind), str(path))

        monkeypatch.setattr(disk, "watcher", fail)
        again = store.open(archive.root)
        try:
            work(again)
        except OSError as error:
            assert error.errno == kind
            failed += 1
        finally:
            monkeypatch.setattr(disk, "watcher", None)
        assert fixity(again).plain()["damaged"] == []
        assert fixity(again).uncommitted == []
        assert list((archive.root / "aside").iterdir()) == []
        if again.head() != head:
            break
    assert again.head().size == head.size + 1
    assert failed > 5


def test_a_file_that_may_not_grow(tmp_path: Path) -> None:
    """A real limit of the system (RLIMIT_FSIZE) in the middle of a deposit: exit code 2, one line, nothing left."""
    program = """
import resource, signal, sys
from pathlib import Path
sys.path.insert(0, "tests/store")
from archive import store
from archive.demo.simulator import simulate
from store_making import deposit
archive = store.create(Path(sys.argv[1]))
signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
resource.setrlimit(resource.RLIMIT_FSIZE, (200_000, 200_000))
try:
    deposit(archive, simulate(40, seed=1))
except OSError as error:
    print(error.errno, error.strerror)
assert list((archive.root / "aside").iterdir()) == []
assert len(list(archive.entries())) == 1
"""
    run = subprocess.run(
        [sys.executable, "-c", program, str(tmp_path / "a")], cwd=ROOT, capture_output=True, text=True, check=False
    )
    assert run.returncode == 0, run.stderr
    assert run.stdout.startswith(str(errno.EFBIG))
    assert fixity(store.open(tmp_path / "a")).sound


@pytest.fixture
def open_folder() -> Iterator[Path]:
    """A folder that other users of this machine can reach, unlike those of pytest."""
    with tempfile.TemporaryDirectory(prefix="muniment-test-") as folder:
        Path(folder).chmod(0o755)
        yield Path(folder)


AS_ANOTHER = """
import os, sys, tempfile
from pathlib import Path
sys.path.insert(0, "tests/store")
from archive import store
from archive.store.fixity import fixity
from archive.store.proofs import holds, prove, verify
from store_making import batch, deposit, rows

def look(root, address):
    archive = store.open(Path(root))
    assert len(archive.record(archive.address(address))) == 1
    assert fixity(archive, "deep").sound
    assert holds(verify(prove(archive, address), archive.head().root))
    return archive

with tempfile.TemporaryDirectory() as folder:  # once as the owner, so that everything is imported
    os.environ["MUNIMENT_CACHE"] = folder + "/cache"
    made = deposit(store.create(Path(folder) / "a"), batch(rows()))
    look(folder + "/a", made.entry["deposit"] + "/0")
if os.getuid() == 0:
    os.setgroups([]); os.setgid(65534); os.setuid(65534)
os.environ["MUNIMENT_CACHE"] = sys.argv[2]
archive = look(sys.argv[1], sys.argv[3])
print("read")
try:
    deposit(archive, batch(rows("NEW", source="b" * 64, shift=1)))
except PermissionError as error:
    print("refused", error.filename)
"""


@pytest.mark.skipif(os.name == "nt", reason="rights of files are those of POSIX")
@pytest.mark.parametrize("cache", ["own", "none"])
def test_a_reader_needs_no_right_to_write(open_folder: Path, cache: str) -> None:
    """Everything that only reads works in a folder that may not be written, with a cache and without one."""
    archive = store.create(open_folder / "archive")
    made = deposit(archive, batch(rows()))
    assert made.entry is not None
    for path in (archive.root, *archive.root.rglob("*")):
        path.chmod(0o555 if path.is_dir() else 0o444)
    place = open_folder / "cache"
    if cache == "own":
        place.mkdir()
        place.chmod(0o777)
    before = {p: p.stat().st_mtime_ns for p in archive.root.rglob("*")}
    address = f"{made.entry['deposit']}/0"
    run = subprocess.run(
        [sys.executable, "-c", AS_ANOTHER, str(archive.root), str(place if cache == "own" else "/proc/none"), address],
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=False,
    )
    assert run.returncode == 0, run.stderr
    assert [line.split()[0] for line in run.stdout.splitlines()] == ["read", "refused"]
    assert {p: p.stat().st_mtime_ns for p in archive.root.rglob("*")} == before
    for path in (archive.root, *archive.root.rglob("*")):
        path.chmod(0o755 if path.is_dir() else 0o644)


def test_what_is_committed_may_not_be_written(archive: Archive) -> None:
    deposit(archive, batch(rows()))
    committed = [p for p in archive.root.rglob("*") if p.is_file()]
    assert all(p.stat().st_mode & 0o222 == 0 for p in committed)


def test_new_folders_have_the_rights_of_their_parents(archive: Archive) -> None:
    """So that an administrator gives rights once: group, sticky bit and all."""
    (archive.root / "deposits").chmod(0o3775)
    deposit(archive, batch(rows()))
    year = next((archive.root / "deposits").iterdir())
    assert year.stat().st_mode & 0o7777 == 0o3775


def test_a_clock_that_goes_back(archive: Archive, monkeypatch: pytest.MonkeyPatch) -> None:
    for year in (2030, 2010, 1999):
        monkeypatch.setattr(clock, "now", lambda year=year: datetime(year, 1, 1, tzinfo=UTC))
        deposit(archive, batch(rows(f"L{year}", source=f"{year:064d}", shift=year % 50)))
    assert [e["at"][:4] for e in archive.entries()][1:] == ["2030", "2010", "1999"]
    assert fixity(store.open(archive.root), "deep").sound
    assert sorted(p.name for p in (archive.root / "deposits").iterdir()) == ["1999", "2010", "2030"]


HOSTILE = [
    "../../x",
    "CON",
    "nul.txt",
    "🔌🧵 éà 例",
    "x" * 10_000,
    "a\x00b",
    "line\nfeed\ttab",
    "'; DROP TABLE records; --",
    '"quoted"',
    "%s %d {0}",
    " blanks ",
    "",
    "\u202eright to left",
    "e\u0301",
    "\ufeffmark",
]


def test_labels_that_bite_come_back_as_they_were(archive: Archive, tmp_path: Path) -> None:
    many = [rows(label, source=f"{i:064d}", shift=i) for i, label in enumerate(HOSTILE)]
    made = deposit(archive, batch(*many), job="../../job CON 🔌")
    assert made.entry is not None
    tables = archive.tables(made.entry["deposit"])
    assert tables.table("records")["link_label"].to_pylist() == HOSTILE
    for i, label in enumerate(HOSTILE):
        found = archive.db.execute("SELECT position FROM records WHERE link_label = ?", (label,)).fetchall()
        assert [r[0] for r in found] == [i]
    assert fixity(store.open(archive.root), "deep").sound
    outside = [p for p in tmp_path.rglob("*") if archive.root not in p.parents and p != archive.root]
    assert outside == []


def test_originals_with_names_that_bite(archive: Archive, tmp_path: Path) -> None:
    import zipfile

    names = ["CON", "aux.csv", "tab\there.csv", "🔌.csv", "n" * 200 + ".csv", "a b;c.csv", "same.csv", "same.csv"]
    listed = []
    for i, name in enumerate(names):
        path = tmp_path / f"{i}.csv"
        path.write_bytes(b"%d" % i)
        listed.append((path, name))
    made = deposit(archive, batch(rows()), originals=listed)
    assert made.entry is not None
    with zipfile.ZipFile(archive.root / made.entry["path"] / "data" / "originals.zip") as packed:
        assert packed.namelist() == [*names[:-1], "same.csv (2)"]
        assert [packed.read(n) for n in packed.namelist()] == [b"%d" % i for i in range(len(names))]


def test_a_path_of_three_hundred_characters(tmp_path: Path) -> None:
    deep = tmp_path
    while len(str(deep)) < 300:
        deep = deep / "a folder with a long name"
    made = store.create(deep / "archive")
    deposit(made, batch(rows()))
    assert fixity(store.open(made.root), "deep").sound


# --- file systems without links ------------------------------------------------------------------------------------


def no_links(*_: Any) -> None:
    raise OSError(errno.EPERM, "links are not supported here")


@pytest.mark.parametrize("how", ["rename without replacing", "exclusive creation"])
def test_without_links_the_number_is_still_claimed_once(
    archive: Archive, how: str, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    monkeypatch.setattr(os, "link", no_links)
    if how == "exclusive creation":
        monkeypatch.setattr(disk, "_rename_without_replace", lambda _old, _new: None)
    one, two = tmp_path / "one", tmp_path / "two"
    one.write_text("1")
    two.write_text("2")
    assert disk.claim(one, tmp_path / "place")
    assert not disk.claim(two, tmp_path / "place")
    assert (tmp_path / "place").read_text() == "1"
    deposit(archive, batch(rows()))
    do_withdraw(archive)
    assert fixity(store.open(archive.root), "deep").sound


def test_a_damaged_last_entry_is_never_voided(archive: Archive, own_cache: Path) -> None:
    """Bit rot in the last entry is not a torn one: a deposit must not make a committed entry vanish."""
    import shutil

    deposit(archive, batch(rows()))
    path = layout.entry_path(archive.root, 1)
    data = path.read_bytes()
    path.chmod(0o644)
    for at in (1, len(data) // 2, len(data) - 70, len(data) - 40, len(data) - 2, len(data) - 1):
        path.write_bytes(data[:at] + bytes([data[at] ^ 1]) + data[at + 1 :])
        shutil.rmtree(own_cache / "cache", ignore_errors=True)
        with pytest.raises(Trouble, match="damaged"):
            deposit(store.open(archive.root), batch(rows("AFTER", source="e" * 64, shift=6)))
    assert layout.entry_count(archive.root) == 2


def test_a_writer_that_finds_its_number_taken_looks_again(archive: Archive, monkeypatch: pytest.MonkeyPatch) -> None:
    """The other one archived the same content a moment earlier: nothing is doubled, nothing is left."""
    real, raced = log.Ledger.append, []

    def append(self: log.Ledger, *args: Any, **more: Any) -> Any:
        if not raced:
            raced.append(True)
            deposit(store.open(archive.root), batch(rows(source="d" * 64, place="/other/layout")))
        return real(self, *args, **more)

    monkeypatch.setattr(log.Ledger, "append", append)
    made = deposit(archive, batch(rows()))
    assert made.entry is None
    assert made.counts["same_content"] == 1
    assert layout.entry_count(archive.root) == 2
    assert fixity(archive).uncommitted == []


def test_a_cache_that_is_damaged_is_made_anew(archive: Archive) -> None:
    deposit(archive, batch(rows()))
    folder = memory.folder(archive.id)
    assert folder is not None
    for path in folder.glob("index.sqlite*"):
        path.write_bytes(b"no database at all" * 100)
    assert store.open(archive.root).catch_up() == 2


def test_the_number_of_steps_does_not_grow_with_the_archive(archive: Archive) -> None:
    """A deposit syncs what it wrote, and nothing of what was there before."""
    first = steps(lambda: deposit(archive, batch(rows("L0", source="0" * 64)))).count
    for i in range(1, 6):
        last = steps(lambda i=i: deposit(archive, batch(rows(f"L{i}", source=f"{i:064d}", shift=i)))).count
    assert last <= first


AS_DEPOSITOR = """
import os, shutil, sys, tempfile
from pathlib import Path
sys.path.insert(0, "tests/store")
from archive import store
from archive.store.fixity import fixity
from store_making import batch, deposit, rows

root, cache, user, label = Path(sys.argv[1]), sys.argv[2], int(sys.argv[3]), sys.argv[4]
with tempfile.TemporaryDirectory() as folder:  # once as the owner, so that everything is imported
    os.environ["MUNIMENT_CACHE"] = folder + "/cache"
    warm = store.create(Path(folder) / "a")
    deposit(warm, batch(rows()))
    fixity(warm)
os.setgroups([]); os.setgid(54321); os.setuid(user)
os.environ["MUNIMENT_CACHE"] = cache
archive = store.open(root)
others = [p for p in root.rglob("*") if p.stat().st_uid != user and p.is_file()]
made = deposit(archive, batch(rows(label, source=label * 64, shift=ord(label) % 9)))
print(made.entry["deposit"])
for path in others:
    for harm in (lambda: path.unlink(), lambda: path.write_bytes(b"x"), lambda: path.rename(path.with_name("x"))):
        try:
            harm()
        except PermissionError:
            continue
        print("could harm", path)
for folder in {p.parent for p in others if p.parent.stat().st_uid != user and p.parent.parent.name.isdigit()}:
    try:
        folder.rename(folder.with_name("gone"))
        print("could move", folder)
    except PermissionError:
        pass
"""


@pytest.mark.skipif(os.name == "nt" or os.getuid() != 0, reason="only the superuser can act as two other users")
def test_depositors_add_and_can_change_nothing_that_is_there(open_folder: Path) -> None:
    """The modes of the README: group may add, the sticky bit lets nobody remove another's files."""
    archive = store.create(open_folder / "archive")
    deposit(archive, batch(rows()))
    folders = [archive.root, *(p for p in archive.root.rglob("*") if p.is_dir())]
    for folder in folders:
        inside_a_bag = len(folder.relative_to(archive.root).parts) > 2
        folder.chmod(0o755 if inside_a_bag else 0o3770)
        os.chown(folder, 0, 54321)
    cache = open_folder / "cache"
    cache.mkdir(mode=0o777)
    cache.chmod(0o777)
    for user, label in ((54001, "A"), (54002, "B"), (54001, "C")):
        run = subprocess.run(
            [sys.executable, "-c", AS_DEPOSITOR, str(archive.root), str(cache / str(user)), str(user), label],
            cwd=ROOT,
            capture_output=True,
            text=True,
            check=False,
        )
        assert run.returncode == 0, run.stderr
        assert "could" not in run.stdout, run.stdout
    report = fixity(store.open(archive.root), "deep")
    assert report.sound, report.damaged
    assert report.deposits == 4
