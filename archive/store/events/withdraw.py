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
    reason: str | None,
    sign: Sign | None = None,
) -> LedgerEntry:
    """Withdraws records (by id or address) and whole deposits. Errors: Trouble where one is not there."""
    addresses = [archive.address(r) for r in records]
    for deposit in deposits:
        archive.deposit_entry(deposit)
    if not addresses and not deposits:
        raise Trouble("nothing to withdraw", code="withdraw.nothing", expected="a record or a deposit")
    facts = {"records": addresses, "deposits": list(deposits)}
    return record(archive, "withdraw", by=by, texts={"reason": reason, **facts}, facts=facts, sign=sign)
