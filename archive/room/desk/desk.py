"""What a desk holds: trays, pieces of work, and the folder that it was started with; all in the user's cache, so that
a desk that is started again, or beside another one, finds them."""

from __future__ import annotations

import hashlib
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path

from archive.errors import Trouble
from archive.formats.folders import path_text
from archive.room.desk import tray as trays
from archive.room.desk import work as works
from archive.room.desk.files import private
from archive.room.desk.tray import Tray
from archive.room.desk.work import Work, WorkRequest
from archive.room.door import SignIn
from archive.room.holder import Holder
from archive.store import clock

PURPOSES = {"": "/hand-in/tray", "documents": "/look-after/documents"}
"""What a tray is for, and the page that goes on with it."""


@dataclass(frozen=True)
class OfferedThing:
    """A file or folder of the folder that the desk was started with. number: by which it is chosen."""

    number: int
    name: str
    is_folder: bool


@dataclass
class Desk:
    """root: the archive. place: a private folder. offered: the folder named with --tray."""

    root: Path
    place: Path
    holder: Holder
    offered: Path | None = None
    _uploading: set[str] = field(default_factory=set)
    _lock: threading.Lock = field(default_factory=threading.Lock)

    @property
    def trays(self) -> Path:
        """Folder of the trays."""
        return private(self.place / "trays")

    @property
    def works(self) -> Path:
        """Folder of the pieces of work."""
        return private(self.place / "work")

    @contextmanager
    def uploading(self, number: str) -> Iterator[None]:
        """One upload at a time of one sign-in. Errors: Trouble where another one runs."""
        with self._lock:
            if number in self._uploading:
                remedy = "wait until it is there, then send this one again"
                raise Trouble("another upload of this sign-in is on its way", code="desk.one-upload", remedy=remedy)
            self._uploading.add(number)
        try:
            yield
        finally:
            with self._lock:
                self._uploading.discard(number)

    def tray_for(self, sign_in: SignIn, number: str | None, purpose: str = "") -> Tray:
        """A tray of this person; a new one where no number is given. Errors: Trouble where it is none of theirs."""
        if number:
            return trays.open_tray(self.trays, number, sign_in.name)
        if purpose not in PURPOSES:
            raise Trouble("no tray is for that", code="desk.no-tray", found=purpose)
        return trays.begin(self.trays, sign_in.name, purpose, clock.text(clock.now()))

    def trays_of(self, sign_in: SignIn, purpose: str = "") -> list[Tray]:
        """Trays of this person, the newest first."""
        return [t for t in trays.listed(self.trays, sign_in.name) if t.purpose == purpose]

    def arrived(self, sign_in: SignIn, tray: Tray) -> str:
        """What follows once files have come: a survey of what is to be deposited. Gives the page that goes on."""
        if not tray.purpose:
            paths = [str(p.resolve()) for p in self.paths_of(tray)]
            self.begin(sign_in, "survey", {"tray": tray.id, "paths": paths})
        return PURPOSES[tray.purpose]

    def begin(self, sign_in: SignIn, kind: str, request: dict[str, object], key: str = "") -> Work:
        """Begins a piece of work in a process of its own. key: where one of this key was begun before, that one is
        given instead, so that a double click is one piece of work. Errors: Trouble, OSError."""
        by = sign_in.name or self.holder.by
        signs = not sign_in.name
        return works.begin(
            self.works, WorkRequest(kind, str(self.root.resolve()), sign_in.name, by, signs, request), key
        )

    def offered_things(self) -> list[OfferedThing]:
        """What lies in the offered folder, by name; links and what is neither file nor folder are left out.

        Errors: Trouble where the folder cannot be read.
        """
        if self.offered is None:
            return []
        try:
            listed = sorted(self.offered.iterdir(), key=lambda p: p.name)
        except OSError as error:
            raise Trouble(
                "the folder of --tray cannot be read", code="desk.offered", found=str(error.strerror)
            ) from None
        kept = [p for p in listed if not p.is_symlink() and (p.is_dir() or p.is_file())]
        return [OfferedThing(n, p.name, p.is_dir()) for n, p in enumerate(kept, 1)]

    def offered_state(self) -> str:
        """A digest of the list, so that a number means what it meant when the page was shown."""
        shown = "\n".join(path_text(t.name) for t in self.offered_things())
        return hashlib.sha256(shown.encode()).hexdigest()[:16]

    def paths_of(self, tray: Tray) -> list[Path]:
        """Paths of what a tray holds of the offered folder. Errors: Trouble where something is not there any more."""
        there = {t.name for t in self.offered_things()}
        for name in tray.chosen:
            if name not in there:
                raise Trouble("it lies in the folder of --tray no more", code="desk.offered", found=path_text(name))
        return [self.offered / name for name in tray.chosen] if self.offered is not None else []
