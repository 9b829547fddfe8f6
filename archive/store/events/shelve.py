"""The archive's own shelf of mappings: one that a person looked over is laid there, or taken off again, as an event.

A mapping that was named for a deposit lies there without an event: the deposit's own entry says so.
"""

from __future__ import annotations

from archive.store.archive import Archive
from archive.store.events.write import record
from archive.store.files import sha256
from archive.store.ledger import LedgerEntry
from archive.store.ledger.entry import Sign
from archive.store.mapping_use import CONFIRMED, FILE, OFF


def confirm_mapping(
    archive: Archive, data: bytes, *, by: str | None, reason: str | None, sign: Sign | None = None
) -> LedgerEntry:
    """Lays a mapping on the shelf as looked over by whoever confirms it. data: the bytes of its file."""
    facts = {"mapping": sha256(data), "how": CONFIRMED}
    texts = {"reason": reason, **facts}
    return record(archive, "mapping", by=by, texts=texts, facts=facts, attached={FILE: data}, sign=sign)


def take_off_mapping(
    archive: Archive, digest: str, *, by: str | None, reason: str | None, sign: Sign | None = None
) -> LedgerEntry:
    """Takes a mapping off the shelf. digest: SHA-256 of its bytes. What it has read stays as it is."""
    facts = {"mapping": digest, "how": OFF}
    return record(archive, "mapping", by=by, texts={"reason": reason, **facts}, facts=facts, sign=sign)
