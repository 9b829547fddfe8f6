"""The archive as the room's threads hold it: one opening for each thread, brought up to the ledger at each question.

While somebody types, one of the threads looks at the ledger once a second, and every ten seconds at the files that the
catalogue was built from; every other question looks anew at both.
"""

from __future__ import annotations

import threading
import time
import warnings
from dataclasses import dataclass, field
from pathlib import Path

from archive import store
from archive.errors import Caveat
from archive.room.holder import NOBODY, Holder
from archive.room.search.measured import Measured
from archive.room.search.search import Searching
from archive.store import Archive, disposed
from archive.store.archive import LedgerHead
from archive.store.cautions import Caution, cautions

_LOOKED = 1.0
"""Seconds for which typing is answered without another look at the ledger."""

_FILES = 10.0
"""Seconds for which it is answered without another look at the files that the catalogue was built from."""

Seen = tuple[float, LedgerHead, tuple[str, ...], float]
"""When the ledger was looked at last (seconds of the monotonic clock), its head and what is to know; when the files."""


@dataclass(frozen=True)
class Looked:
    """An archive at one question. head: its head then. to_know: what whoever relies on an answer must know of it."""

    archive: Archive
    head: LedgerHead
    to_know: tuple[str, ...]
    searching: Searching
    measured: Measured
    held: Holdings

    def cautions(self) -> list[Caution]:
        """What to know of the ledger, worked out once for each head."""
        known = self.held.known_cautions
        if known is None or known[0] != self.head or self.to_know:
            known = self.held.known_cautions = (self.head, cautions(self.archive))
        return known[1]


@dataclass
class Holdings:
    """Gives each thread its own opening of one archive, since a database connection belongs to one thread."""

    root: Path
    holder: Holder = NOBODY
    searching: Searching = field(default_factory=Searching)
    measured: Measured = field(default_factory=Measured)
    known_cautions: tuple[LedgerHead, list[Caution]] | None = None
    _looking: threading.Lock = field(default_factory=threading.Lock)
    _mine: threading.local = field(default_factory=threading.local)
    _last: Seen | None = None

    def look(self, *, quick: bool = False) -> Looked:
        """The archive, caught up with its ledger. quick: as it was caught up with within the last second.

        Errors: Trouble where it cannot be answered from.
        """
        if not hasattr(self._mine, "archive"):
            self._mine.archive, quick = store.open(self.root), False
        archive: Archive = self._mine.archive
        held = self._last
        if held is None or not quick:
            held = self._look_anew(archive)
        elif time.monotonic() - held[0] > _LOOKED and self._looking.acquire(blocking=False):
            try:  # the others answer from what was seen last, meanwhile
                held = self._glance(archive, held)
            finally:
                self._looking.release()
        return Looked(archive, held[1], held[2], self.searching, self.measured, self)

    def _glance(self, archive: Archive, held: Seen) -> Seen:
        """What was seen last, where nothing came to the ledger since and the files were looked at a while ago."""
        if time.monotonic() - held[3] > _FILES or archive.ledger.count() != held[1].size:
            return self._look_anew(archive)
        self._last = found = (time.monotonic(), *held[1:])
        return found

    def _look_anew(self, archive: Archive) -> Seen:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore", Caveat)  # what they say is in unread(), at every question and not once
            head = archive.head()
        now = time.monotonic()
        self._last = found = (now, head, _to_know(archive), now)
        return found

    def warm(self) -> None:
        """Prepares what a first search would wait for; in a thread of its own, and without a word where it fails, since
        the question that needs it will say why."""

        def prepare() -> None:
            looked = self.look()
            looked.searching.facets(looked.archive)
            looked.measured.prepare(looked.archive)

        threading.Thread(target=prepare, daemon=True).start()


def _to_know(archive: Archive) -> tuple[str, ...]:
    """What stands on every page: events that cannot be read, and records that were disposed of."""
    gone = disposed.sentence(archive.db)
    return (*(str(event) for event in archive.unread()), *([gone] if gone else []))
