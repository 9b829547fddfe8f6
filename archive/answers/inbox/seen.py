"""What an inbox remembers between runs: since when each file has been as it is, and what was tried with which bytes.

It lies in the user's cache and may be thrown away: then files rest anew, and what gave nothing is tried once more.
Whether a file is in the archive is never asked here: that the archive says itself.
"""

from __future__ import annotations

import hashlib
import os
from contextlib import suppress
from dataclasses import dataclass, field
from pathlib import Path
from typing import IO, Any

from archive.errors import Trouble
from archive.file_lock import lock
from archive.store import Archive, memory


@dataclass
class Seen:
    """files: path in the inbox -> {state, since (seconds of the system's clock), sha256 or None}. tried: SHA-256 of
    bytes that gave nothing for the archive to hold -> {head: of the ledger then, why, trouble}."""

    archive: Archive
    name: str
    files: dict[str, dict[str, Any]] = field(default_factory=dict)
    tried: dict[str, dict[str, Any]] = field(default_factory=dict)
    met: set[str] = field(default_factory=set)
    """Paths that this run has looked at."""

    @classmethod
    def of(cls, archive: Archive, folder: Path) -> Seen:
        """What is remembered of an inbox. Errors: Trouble where this user has no cache that can be written."""
        if memory.folder(archive.id) is None:
            raise Trouble(
                "this user's cache cannot be written, and an inbox must remember what it saw",
                code="inbox.no-cache",
                where=str(folder),
                remedy="name a folder for it in MUNIMENT_CACHE",
            )
        name = f"inbox-{hashlib.sha256(os.fsencode(folder.resolve())).hexdigest()[:16]}"
        held = memory.recall(archive.id, name)
        made = cls(archive, name)
        if isinstance(held, dict) and all(isinstance(held.get(k), dict) for k in ("files", "tried")):
            made.files, made.tried = held["files"], held["tried"]
        return made

    def keep(self) -> None:
        """Remembers it."""
        memory.remember(self.archive.id, self.name, {"files": self.files, "tried": self.tried})

    def resting(self, path: str, place: Path, rest: float, now: float) -> bool:
        """Whether a file has been as it is for so many seconds, as far as it was looked at: size, times and number in
        the file system. now: of the system's clock. Errors: OSError."""
        state = state_of(place)
        self.met.add(path)
        held = self.files.get(path)
        if not isinstance(held, dict) or held.get("state") != state or not 0 <= float(held.get("since", -1)) <= now:
            held = self.files[path] = {"state": state, "since": now, "sha256": None}
        return now - float(held["since"]) >= rest

    def forget_others(self) -> None:
        """Forgets files that are not in the inbox any more."""
        self.files = {path: held for path, held in self.files.items() if path in self.met}


def state_of(place: Path) -> str:
    """What changes when a file does. Errors: OSError."""
    s = place.stat()
    return f"{s.st_size} {s.st_mtime_ns} {s.st_ctime_ns} {s.st_ino}"


class Lock:
    """One run of an inbox at a time on this machine; the system lets go of it however the program ends."""

    def __init__(self, archive_id: str, name: str) -> None:
        folder = memory.folder(archive_id)
        assert folder is not None
        self._path = folder / f"{name}.lock"
        self._file: IO[bytes] | None = None

    def __enter__(self) -> Lock:
        try:
            self._file = lock(self._path)
        except BlockingIOError:
            raise Trouble(
                "another run of this inbox is at work",
                code="inbox.at-work",
                where=str(self._path),
                remedy="let it end; the next run takes what it left",
            ) from None
        return self

    def __exit__(self, *_: object) -> None:
        if self._file is not None:
            with suppress(OSError):
                self._file.close()
