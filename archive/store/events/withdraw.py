"""Withdrawal: out of every statistic, in no role; the bytes stay."""

from __future__ import annotations

from collections.abc import Sequence

from archive.errors import Trouble
from archive.store.archive import Archive
from archive.store.events.write import record
from archive.store.ledger import LedgerEntry
from archive.store.ledger.entry import Sign


def withdraw(
    archive: Archive,
    *,
    records: Sequence[str] = (),
    deposits: Sequence[str] = (),
    by: str | None,
    reason: str,
    sign: Sign | None = None,
) -> LedgerEntry | None:
    """Withdraws records (by id or address) and whole deposits; None, and nothing written, where all of it is already.

    Errors: Trouble where one is not there, or no reason is given.
    """
    addresses = [archive.address(r) for r in records]
    for deposit in deposits:
        archive.deposit_entry(deposit)
    if not addresses and not deposits:
        raise Trouble("nothing to withdraw", code="withdraw.nothing", expected="a record or a deposit")
    if not reason.strip():
        raise Trouble("a withdrawal needs its reason", code="withdraw.no-reason", expected="--reason TEXT")
    facts = {
        "records": [a for a in addresses if not _is(archive, "records", "deposit || '/' || position", a)],
        "deposits": [d for d in deposits if not _is(archive, "deposits", "deposit", d)],
    }
    if not facts["records"] and not facts["deposits"]:
        return None
    return record(archive, "withdraw", by=by, texts={"reason": reason, **facts}, facts=facts, sign=sign)


def withdrawals(archive: Archive, records: Sequence[str], deposits: Sequence[str]) -> list[LedgerEntry]:
    """The entries that withdrew any of these records (by id or address) or deposits, oldest first."""
    addresses = {archive.address(r) for r in records}
    named = {*deposits, *(a.rpartition("/")[0] for a in addresses)}
    return [
        e
        for e in archive.entries()
        if e.get("event") == "withdraw" and (addresses & set(e["records"]) or named & set(e["deposits"]))
    ]


def _is(archive: Archive, table: str, key: str, value: str) -> bool:
    """Whether a record or deposit is withdrawn already."""
    return bool(archive.db.execute(f"SELECT withdrawn FROM {table} WHERE {key} = ?", (value,)).fetchone()[0])
