"""The ledger: what happened to an archive, in order, each entry holding the digest of the one before."""

from __future__ import annotations

from archive.store.ledger.entry import VOID_LEAF, LedgerEntry, build, judge
from archive.store.ledger.log import Ledger, Taken

__all__ = ["VOID_LEAF", "Ledger", "LedgerEntry", "Taken", "build", "judge"]
