"""An archive as it was on a day: by what had been tested by then, or by what its ledger held then."""

from __future__ import annotations

import sqlite3
from datetime import date
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING

from archive.errors import Trouble
from archive.store import catalogue
from archive.store.archive import Archive, LedgerHead, open_archive
from archive.store.catalogue import database, standing_columns

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping
    from typing import Any

    from archive.store.ledger import LedgerEntry
    from archive.store.ledger.entry import Sign


class PastArchive(Archive):
    """An archive as it was at the end of a day. Nothing can be committed to it, and nothing of it is cached.

    known False: tests made by that day, under the labels and facts that hold now; a test without a date, or with one
    that may be later, is left out. known True: what the ledger held by that day (UTC, by its own times), whatever came
    since.
    """

    remembers = False

    def __init__(self, archive: Archive, day: date, *, known: bool) -> None:
        super().__init__(archive.root, archive.settings)
        self.day, self.known, self._of = day, known, archive

    @cached_property
    def db(self) -> sqlite3.Connection:
        """The database as of the day, in memory."""
        self._of.catch_up()
        return self._known() if self.known else self._tested()

    def catch_up(self) -> int:
        """Number of ledger entries that this state rests on; it does not change any more."""
        return int(self.db.execute("SELECT value FROM meta WHERE key = 'next'").fetchone()[0])

    def commit(self, fields: Callable[[], Mapping[str, Any]], aside: Path, sign: Sign | None = None) -> LedgerEntry:
        """Errors: Trouble always."""
        raise Trouble("the past cannot be changed", code="archive.past", remedy="leave --as-of out")

    def head(self, size: int | None = None) -> LedgerHead:
        """The head of the ledger now, or with `known` on that day."""
        return super().head(size) if self.known else self._of.head(size)

    def _known(self) -> sqlite3.Connection:
        end = self.day.isoformat()
        times = self._of.db.execute("SELECT number, at FROM entries ORDER BY number").fetchall()
        stop = next((int(r["number"]) for r in times if (r["at"] or "")[:10] > end), len(times))
        if not stop:
            raise Trouble(
                "the archive had no entry on that day",
                code="archive.not-yet",
                where=str(self.root),
                found=end,
                expected=f"{(times[0]['at'] or '')[:10]} or later" if times else "",
            )
        return catalogue.rebuilt(self.root, self.ledger, stop)

    def _tested(self) -> sqlite3.Connection:
        db = database.in_memory()
        self._of.db.backup(db)
        later = "substr(coalesce(tested_local, tested_at, '9') || '-99-99', 1, 10) > ?"
        day = (self.day.isoformat(),)
        with database.writing(db):
            db.execute(
                "UPDATE records SET current = NULL WHERE link_key IN "
                f"(SELECT link_key FROM records WHERE {later}) OR row IN (SELECT row FROM records WHERE {later})",
                (*day, *day),
            )
            db.execute(f"DELETE FROM words WHERE rowid IN (SELECT row FROM records WHERE {later})", day)
            db.execute(f"DELETE FROM records WHERE {later}", day)
            standing_columns.refresh(db)
        return db


def open_as_of(path: Path, day: date | None, *, known: bool = False) -> Archive:
    """An archive, or with a day the archive as it was then; see PastArchive. Errors: as open_archive."""
    archive = open_archive(path)
    return archive if day is None else PastArchive(archive, day, known=known)
