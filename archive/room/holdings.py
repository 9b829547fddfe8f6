"""The archive as the room's threads hold it: one opening for each thread, brought up to the ledger at each question."""

from __future__ import annotations

import threading
import warnings
from dataclasses import dataclass
from pathlib import Path

from archive import store
from archive.errors import Caveat
from archive.store import Archive
from archive.store.archive import LedgerHead


@dataclass(frozen=True)
class Looked:
    """An archive at one question. head: its head then. to_know: what whoever relies on an answer must know of it."""

    archive: Archive
    head: LedgerHead
    to_know: tuple[str, ...]


class Holdings:
    """Gives each thread its own opening of one archive, since a database connection belongs to one thread."""

    def __init__(self, root: Path) -> None:
        self.root = root
        self._mine = threading.local()

    def look(self) -> Looked:
        """The archive, caught up with its ledger. Errors: Trouble where it cannot be answered from."""
        if not hasattr(self._mine, "archive"):
            self._mine.archive = store.open(self.root)
        archive: Archive = self._mine.archive
        with warnings.catch_warnings():
            warnings.simplefilter("ignore", Caveat)  # what they say is in unread(), at every question and not once
            head = archive.head()
        return Looked(archive, head, tuple(str(event) for event in archive.unread()))
