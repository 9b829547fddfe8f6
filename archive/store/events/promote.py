"""A second copy takes the place of the original: from then on it is written to, and the ledger says so."""

from __future__ import annotations

from archive.errors import Trouble
from archive.store.archive import Archive
from archive.store.events.write import record
from archive.store.ledger import LedgerEntry
from archive.store.ledger.entry import Sign
from archive.store.second_copy import is_second_copy, mark, take_mark_away


def promote(archive: Archive, *, by: str | None, reason: str, sign: Sign | None = None) -> LedgerEntry:
    """Makes a second copy the original. Errors: Trouble where it is none."""
    if not is_second_copy(archive.root):
        raise Trouble("this is no second copy", code="copy.not-second", where=str(archive.root))
    archive.catch_up()
    take_mark_away(archive.root)
    try:
        return record(archive, "promote", by=by, texts={"reason": reason}, sign=sign)
    except BaseException:
        mark(archive.root, archive.id)
        raise
