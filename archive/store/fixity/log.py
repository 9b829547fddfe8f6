"""A line for each fixity run: in catalogue/fixity.log where that may be written, else in this user's cache.

It is never in the ledger, and nothing rests on it: whoever may write there can write anything. It tells when somebody
last looked, as far as it is honest.
"""

from __future__ import annotations

import json
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from archive import disk
from archive.store import clock, layout, memory
from archive.store.archive import Archive
from archive.store.fixity.report import DEPTHS, Report
from archive.store.second_copy import is_second_copy

LOG = "fixity.log"
_READ = 4 << 20
"""Bytes at the end of a log that are read."""


@dataclass(frozen=True)
class FixityRun:
    """One run as it was logged. damaged: number of things; entries, head: of the ledger then."""

    at: datetime
    depth: str
    sound: bool
    damaged: int
    entries: int
    head: str


def note(archive: Archive, report: Report) -> Path | None:
    """Logs a run; gives the file, None where none can be written."""
    line = {
        "at": clock.text(clock.now()),
        "depth": report.depth,
        "sound": report.sound,
        "damaged": len(report.damaged),
        "entries": report.entries,
        "head": report.head,
    }
    for path in _places(archive):
        own = {} if path.parent.name == layout.CATALOGUE else {"root": str(archive.root.absolute())}
        try:
            disk.append(path, (json.dumps({**line, **own}) + "\n").encode())
        except OSError:
            continue
        return path
    return None


def runs(archive: Archive, copy: Path | None = None) -> list[FixityRun]:
    """Runs as they were logged, the oldest first; lines that are none, or that are still to come, are passed over.
    copy: a second copy, whose runs this user's cache holds; by default the archive itself."""
    root = str((copy or archive.root).absolute())
    found = []
    for path in _places(archive):
        here = path.parent.name == layout.CATALOGUE
        found += [] if here and copy is not None else list(_read(path, None if here else root))
    return sorted(found, key=lambda r: r.at)


def _places(archive: Archive) -> Iterator[Path]:
    folder = archive.root / layout.CATALOGUE
    if folder.is_dir() and not is_second_copy(archive.root):
        yield folder / LOG
    if (cache := memory.folder(archive.id)) is not None:
        yield cache / LOG


def _read(path: Path, root: str | None) -> Iterator[FixityRun]:
    """root: that of the archive which the lines must be of; None in a log that lies in its archive."""
    try:
        with path.open("rb") as file:
            file.seek(max(0, path.stat().st_size - _READ))
            lines = file.read(_READ).split(b"\n")
    except OSError:
        return
    for line in lines:
        try:
            said = json.loads(line)
            run = _run(said)
            other = root is not None and said.get("root") != root
        except (ValueError, KeyError, TypeError, OverflowError, RecursionError):
            continue
        if not other and run.depth in DEPTHS and run.at <= clock.now():
            yield run


def _run(said: dict[str, Any]) -> FixityRun:
    at = datetime.fromisoformat(said["at"]).astimezone(UTC)
    numbers = int(said["damaged"]), int(said["entries"])
    return FixityRun(at, str(said["depth"]), said["sound"] is True, *numbers, str(said["head"]))
