"""What is done to an archive besides deposits: corrections, withdrawals, holds, redactions, keys, time stamps."""

from __future__ import annotations

from archive.store.events.write import record, texts_of

__all__ = ["record", "texts_of"]
