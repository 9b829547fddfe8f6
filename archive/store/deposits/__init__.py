"""Deposits: what came in at one time, as one immutable bag and one ledger entry."""

from __future__ import annotations

from archive.store.deposits.confirmed import NotAsConfirmed
from archive.store.deposits.receipt import Receipt, receipt
from archive.store.deposits.write import Deposit, DepositFacts

__all__ = ["Deposit", "DepositFacts", "NotAsConfirmed", "Receipt", "receipt"]
