"""What is being written: aside/<id>/, a folder with a note that says by whom. What a stopped writer left is taken away.

A bag that got its place but no ledger entry is no deposit. Its writer's note in aside/ still names it, and who
holds that note is asked first: a process of this machine that still runs is left alone; one of another machine
is given a week.
"""

from __future__ import annotations

import json
import os
import socket
import tempfile
import time
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from archive.store import clock, condemned, disk, files, layout
from archive.store.archive import Archive
from archive.store.ledger import Entry

_NOTE = "note.json"
_STRANGERS = 7 * 24 * 3600.0
"""Seconds for which a writer of another machine is left alone."""
_UNSIGNED = 60.0
"""Seconds for which a folder without a readable note is left alone: its writer may just be making it."""


@dataclass(frozen=True)
class Aside:
    """A folder to write in."""

    folder: Path

    def end(self) -> None:
        """Takes the folder away."""
        disk.remove_tree(self.folder)


def elsewhere() -> Aside:
    """A temporary folder outside of any archive, for what is only tried."""
    return Aside(Path(tempfile.mkdtemp(prefix="muniment-")))


def begin(archive: Archive, name: str) -> Aside:
    """A new folder aside for what will be called `name`; heals first what stopped writers left.

    Errors: OSError where it cannot be written.
    """
    heal(archive)
    condemned.take_away(archive)
    folder = archive.root / layout.ASIDE / name
    disk.make_folder(folder.parent)
    disk.make_folder(folder)
    note = {
        "host": socket.gethostname(),
        "pid": os.getpid(),
        "started": _started(os.getpid()),
        "at": clock.text(clock.now()),
    }
    files.write_new(folder / _NOTE, json.dumps(note).encode())
    disk.sync_folder(folder)
    disk.sync_folder(folder.parent)
    return Aside(folder)


def heal(archive: Archive) -> list[str]:
    """Takes away what stopped writers left, in aside/ and in its place without an entry; gives the ids.

    Does nothing where this user may not write.
    """
    healed = []
    for folder in _left(archive):
        take_back(archive, folder)
        healed.append(folder.name)
    return healed


def take_back(archive: Archive, folder: Path) -> None:
    """Takes a folder aside away, and what it was to become where that has its place but no ledger entry."""
    if not folder.exists():
        return
    for place in _places(archive, folder.name):
        if not _committed(archive, place):
            disk.rename(place, folder / place.name)
            disk.sync_folder(place.parent)
    disk.remove_tree(folder)


def standing_without(root: Path, entries: Iterable[Entry]) -> list[Path]:
    """Bags and events that stand in their place without a ledger entry: stopped before the commit, or in the making."""
    known = {Path(path).parent.as_posix() for e in entries for path in e.files}
    stand = [*(root / layout.DEPOSITS).glob("*/*"), *(root / layout.ASSESSMENTS).glob("*")]
    stand += (root / layout.EVENTS).glob("*")
    return [p for p in sorted(stand) if p.is_dir() and p.relative_to(root).as_posix() not in known]


def _left(archive: Archive) -> Iterator[Path]:
    place = archive.root / layout.ASIDE
    if not os.access(place, os.W_OK):
        return
    for folder in sorted(place.iterdir()):
        if folder.is_dir() and _given_up(folder):
            yield folder


def _given_up(folder: Path) -> bool:
    try:
        note = json.loads((folder / _NOTE).read_bytes())
        at = (folder / _NOTE).stat().st_mtime
    except (OSError, ValueError):
        note, at = {}, _changed(folder)
    if note.get("host") == socket.gethostname():
        return not _runs(note)
    return time.time() - at > _STRANGERS or (not note and time.time() - at > _UNSIGNED)


def _changed(folder: Path) -> float:
    try:
        return folder.stat().st_mtime
    except OSError:
        return time.time()


def _runs(note: dict[str, Any]) -> bool:
    pid = int(note["pid"])
    try:
        os.kill(pid, 0)
    except ProcessLookupError:
        return False
    except PermissionError:
        return True
    return note.get("started") in (None, _started(pid))


def _started(pid: int) -> str | None:
    """When a process started, in the system's own count, so that a reused number is told apart (Linux)."""
    try:
        return Path(f"/proc/{pid}/stat").read_text().rsplit(")", 1)[1].split()[19]
    except (OSError, IndexError):
        return None


def _places(archive: Archive, name: str) -> list[Path]:
    """Where a thing of that id would stand if it got its place."""
    years = (archive.root / layout.DEPOSITS).glob(f"*/{name}")
    others = (archive.root / kind / name for kind in (layout.ASSESSMENTS, layout.EVENTS))
    return [p for p in (*years, *others) if p.is_dir()]


def _committed(archive: Archive, place: Path) -> bool:
    wanted = place.relative_to(archive.root).as_posix()
    return any(path.startswith(f"{wanted}/") for e in archive.entries() for path in e.files)
