"""The archive on disk: deposits, ledger, proofs, dedup, fixity.

archive.store.create(path) -> Archive
archive.store.open(path) -> Archive
"""

from __future__ import annotations

from archive.store.archive import Archive, LedgerHead, open_damaged
from archive.store.archive import open_archive as open  # noqa: A004
from archive.store.create import create

__all__ = ["Archive", "LedgerHead", "create", "open", "open_damaged"]
