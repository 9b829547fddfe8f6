"""The catalogue: what finding and dedup need, derived from ledger and index files, thrown away without loss."""

from __future__ import annotations

from archive.store.catalogue.catch_up import catch_up, contents, leaves, rebuilt, root
from archive.store.catalogue.database import connect, forget, in_memory

__all__ = ["catch_up", "connect", "contents", "forget", "in_memory", "leaves", "rebuilt", "root"]
