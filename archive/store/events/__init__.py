"""What is done to an archive besides deposits: corrections, settled cables, withdrawals, holds, redactions,
keys, time stamps."""

from __future__ import annotations

from archive.store.events.amend import FIELDS, Correction, amend
from archive.store.events.cables import Settlement, settle_cables
from archive.store.events.hold import held, hold, holds, retention
from archive.store.events.promote import promote
from archive.store.events.void import void
from archive.store.events.withdraw import withdraw
from archive.store.events.write import record

__all__ = [
    "FIELDS",
    "Correction",
    "Settlement",
    "amend",
    "held",
    "hold",
    "holds",
    "promote",
    "record",
    "retention",
    "settle_cables",
    "void",
    "withdraw",
]
