"""What is being written: aside/<id>.<owner>/, a folder whose name says by whom. What stopped writers left is removed.

The owner is machine, process and when that started. A bag that got its place but no ledger entry is no deposit: while
its writer's folder in aside/ is there, the writer is asked first. A process of this machine that still runs is left
alone; one of another machine is given a week. For an archive on an object store see store.marks.
"""

from __future__ import annotations

import hashlib
import os
import socket
import tempfile
import time
from collections.abc import Iterable, Iterator
from contextlib import suppress
from dataclasses import dataclass
from functools import cache
from pathlib import Path

from archive import disk
from archive.objects import StorePath
from archive.store import layout, marks
from archive.store.archive import Archive
from archive.store.ledger import LedgerEntry
from archive.store.second_copy import require_original

_STRANGERS = 7 * 24 * 3600.0
"""Seconds for which a writer of another machine is left alone."""


@dataclass(frozen=True)
class Aside:
    """A folder to write in. root: of the archive, where that lies on an object store."""

    folder: Path
    root: StorePath | None = None

    def end(self) -> None:
        """Removes the folder."""
        if self.root is None:
            disk.remove_tree(self.folder)
        else:
            marks.end(self.root, self.folder)


def elsewhere() -> Aside:
    """A temporary folder outside of any archive, for what is only tried."""
    return Aside(Path(tempfile.mkdtemp(prefix="muniment-")))


def begin(archive: Archive, name: str) -> Aside:
    """A new folder aside for what will be called `name`; heals first what stopped writers left.

    Errors: OSError where it cannot be written; Trouble where the archive is a second copy.
    """
    require_original(archive.root)
    heal(archive)
    archive.catch_up()
    archive.take_away_condemned()
    return make(archive.root, name)


def make(root: Path, name: str) -> Aside:
    """A new folder aside, and nothing else. Errors: OSError where it cannot be written."""
    own = f"{name}.{_machine()}.{os.getpid()}.{_started(os.getpid())}"
    if isinstance(root, StorePath):
        return Aside(marks.begin(root, own), root)
    folder = root / layout.ASIDE / own
    try:
        disk.make_folder(folder)
        disk.sync_folder(folder.parent)
    except OSError:
        disk.remove_tree(folder)
        raise
    return Aside(folder)


def heal(archive: Archive) -> list[str]:
    """Removes what stopped writers left, in aside/ and in its place without an entry; gives the ids.

    Does nothing where this user may not write, or where another one heals just now.
    """
    if isinstance(archive.root, StorePath):
        healed = marks.heal(archive, _given_up_by)
        archive.healed += healed
        return healed
    healed = []
    _remove_old_parts(archive.root / layout.ASIDE)
    for folder in _left(archive):
        with suppress(PermissionError, FileNotFoundError):
            take_back(archive, folder)
            healed.append(folder.name.partition(".")[0])
    archive.healed += healed
    return healed


def take_back(archive: Archive, folder: Path) -> None:
    """Takes a folder aside away, and what it was to become where that has its place but no ledger entry."""
    if isinstance(archive.root, StorePath):
        marks.take_back(archive, folder)
        return
    if not folder.exists():
        return
    for place in _places(archive, folder.name.partition(".")[0]):
        if not _committed(archive, place):
            disk.rename(place, folder / place.name)
            disk.sync_folder(place.parent)
    disk.remove_tree(folder)


def standing_without(root: Path, entries: Iterable[LedgerEntry]) -> list[Path]:
    """Bags and events that stand in their place without a ledger entry: stopped before the commit, or in the making."""
    known = {Path(path).parent.as_posix() for e in entries for path in e.files}
    stand = [*(root / layout.DEPOSITS).glob("*/*"), *(root / layout.ASSESSMENTS).glob("*")]
    stand += (root / layout.EVENTS).glob("*")
    return [p for p in sorted(stand) if p.is_dir() and p.relative_to(root).as_posix() not in known]


def _remove_old_parts(folder: Path) -> None:
    """Takes away single files that a stopped program was writing there."""
    for path in folder.glob(".*.part"):
        with suppress(OSError):
            if time.time() - path.stat().st_mtime > _STRANGERS:
                path.unlink()


def _left(archive: Archive) -> Iterator[Path]:
    place = archive.root / layout.ASIDE
    if not os.access(place, os.W_OK):
        return
    for folder in sorted(place.iterdir()):
        if folder.is_dir() and _given_up(folder):
            yield folder


def _given_up(folder: Path) -> bool:
    try:
        return _given_up_by(folder.name, time.time() - folder.stat().st_mtime)
    except OSError:
        return False


def _given_up_by(name: str, age: float) -> bool:
    """Whether whoever made a folder of that name so many seconds ago works on it no more."""
    _, machine, pid, started = (name.split(".") + [""] * 3)[:4]
    if machine == _machine() and pid.isdigit():
        return not _runs(int(pid), started)
    return age > _STRANGERS


@cache
def _machine() -> str:
    """This machine since it was started, and the container: only where a process can be seen is it asked for."""
    known = [socket.gethostname()]
    for path in ("/proc/sys/kernel/random/boot_id", "/proc/self/ns/pid"):
        with suppress(OSError):
            known.append(str(Path(path).readlink()) if path.endswith("pid") else Path(path).read_text())
    return hashlib.sha256("\n".join(known).encode()).hexdigest()[:10]


def _runs(pid: int, started: str) -> bool:
    """Whether the process that made a folder still runs, and not another one that was given its number."""
    if os.name != "nt":
        try:
            os.kill(pid, 0)
        except ProcessLookupError:
            return False
        except PermissionError:
            return True
    return _started(pid) == started


def _started(pid: int) -> str:
    """When a process started, in the system's own count (Linux); "0" where that is not told."""
    try:
        return Path(f"/proc/{pid}/stat").read_text().rsplit(")", 1)[1].split()[19]
    except (OSError, IndexError):
        return "0"


def _places(archive: Archive, name: str) -> list[Path]:
    """Where a thing of that id would stand if it got its place."""
    years = (archive.root / layout.DEPOSITS).glob(f"*/{name}")
    others = (archive.root / kind / name for kind in (layout.ASSESSMENTS, layout.EVENTS))
    return [p for p in (*years, *others) if p.is_dir()]


def _committed(archive: Archive, place: Path) -> bool:
    wanted = place.relative_to(archive.root).as_posix()
    return any(path.startswith(f"{wanted}/") for e in archive.entries() for path in e.files)
