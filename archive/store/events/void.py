"""A person's decision on a ledger entry that was cut short and that no copy holds: it is void."""

from __future__ import annotations

from typing import Any

from archive.errors import Trouble
from archive.store import files, layout, memory
from archive.store.archive import Archive
from archive.store.events.write import record
from archive.store.ledger import LedgerEntry, judge
from archive.store.ledger.entry import Sign


def void(archive: Archive, number: int, *, by: str | None, reason: str, sign: Sign | None = None) -> LedgerEntry:
    """Voids a torn last entry, or says of one that was voided by an earlier program that somebody decided so.

    What it committed counts for nothing from then on, and every later fixity and claim says that it is void. Errors:
    Trouble where the entry is not torn, can still be finished, or was decided on before.
    """
    ledger = archive.ledger
    data = ledger.data(number)
    if data is None or judge(data) != "torn":
        raise Trouble(
            "only an entry that ends too early can be voided",
            code="void.not-torn",
            where=str(layout.entry_path(archive.root, number)),
            found="no such entry" if data is None else f"an entry that is {judge(data)}",
            remedy=f"run `muniment fixity {archive.root}`",
        )
    last = number + 1 == ledger.count()
    if last and ledger.settled(number) != data:
        raise Trouble(
            "the entry was finished just now: there is nothing to decide",
            code="void.finished",
            where=str(layout.entry_path(archive.root, number)),
        )
    if not last and any(e.get("event") == "void" and e["entry"] == number for e in archive.entries()):
        raise Trouble("this was decided before", code="void.decided", found=f"entry {number}")
    seen = memory.recall(archive.id, "head")
    facts: dict[str, Any] = {"entry": number, "torn_sha256": files.sha256(data), "torn_bytes": len(data)}
    if seen is not None and int(seen["size"]) > number and last:
        facts["seen_whole"] = True  # this machine held its head: it was committed, and was cut later
        memory.remember(archive.id, "head", None)
    ledger.deciding = number if last else None
    try:
        return record(archive, "void", by=by, texts={"reason": reason, **facts}, facts=facts, sign=sign)
    except BaseException:
        if "seen_whole" in facts:
            memory.remember(archive.id, "head", seen)
        raise
    finally:
        ledger.deciding = None
