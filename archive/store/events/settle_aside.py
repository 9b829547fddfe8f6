"""What was set aside, settled by a person: nothing is to be read there. The file stays in the archive."""

from __future__ import annotations

from collections.abc import Iterable

from archive.store.archive import Archive
from archive.store.events.write import record
from archive.store.ledger import LedgerEntry
from archive.store.ledger.entry import Sign


def settle_aside(
    archive: Archive, items: Iterable[str], *, by: str | None, reason: str | None, sign: Sign | None = None
) -> LedgerEntry:
    """Settles things that were set aside. items: keys as answers.setaside gives them."""
    listed = sorted(set(items))
    return record(archive, "setaside", by=by, texts={"reason": reason}, facts={"items": listed}, sign=sign)
