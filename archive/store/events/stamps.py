"""Time stamps of the head, kept in the archive with everything that they rest on."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from typing import Any

from archive.store.archive import Archive, LedgerHead
from archive.store.events.write import record
from archive.store.keys import stamp
from archive.store.keys.stamp_chain import chain_of, soon
from archive.store.ledger import LedgerEntry
from archive.store.ledger.entry import Sign


def keep_stamp(
    archive: Archive,
    head: LedgerHead,
    token: bytes,
    said: dict[str, Any],
    *,
    rests_on: Sequence[tuple[str, bytes]] = (),
    by: str | None,
    sign: Sign | None = None,
) -> LedgerEntry:
    """Commits a stamp of a head. said: reason and authority; rests_on: roots and lists of revoked certificates by name.

    The chain in the token is kept beside it. Errors: Trouble where the token is not one of this head.
    """
    when = stamp.check(token, stamp.message(archive.id, head.size, head.root))
    chain = chain_of(token)  # the library is there: the token was just checked with it
    facts: dict[str, Any] = {"size": head.size, "root": head.root}
    attached = {"head.tsr": token, **dict(rests_on)}
    if chain is not None:
        facts["ends"] = f"{chain.ends:%Y-%m-%d}"
        attached["chain.pem"] = b"".join(chain.chain)
    texts = {**said, "stamped_at": when, **facts}
    return record(archive, "stamp", by=by, texts=texts, facts=facts, attached=attached, sign=sign)


def due(archive: Archive, within: int, on: datetime) -> list[LedgerEntry]:
    """Stamps whose certificate ends within so many days, unless a later stamp lies over them that lasts longer."""
    stamps = [e for e in archive.entries() if e.get("event") == "stamp"]
    lasting = [e.number for e in stamps if e.get("ends") and not soon(e["ends"], within, on)]
    newest = max(lasting, default=-1)
    return [e for e in stamps if e.get("ends") and soon(e["ends"], within, on) and e.number > newest]
