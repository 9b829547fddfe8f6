"""Discards the index and the tables for counting, and rebuilds them."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from typing import Any

from archive.spread import Workers
from archive.store import Archive, catalogue
from archive.store.counting import blocks


def reindex(
    archive: Archive, watch: Callable[[Iterable[int]], Iterable[int]] = iter, workers: Workers | None = None
) -> dict[str, Any]:
    """Rebuilds what the user's cache holds; gives entries, deposits, records and files for counting.

    workers: who reads the bags for counting. Killed on the way, the next command goes on from the last entry that was
    applied. Errors: Trouble where ledger or bags are damaged.
    """
    archive.db.close()
    archive.__dict__.pop("db", None)
    catalogue.forget(archive.id)
    blocks.forget(archive.id)
    entries = archive.catch_up()
    files = blocks.counting(archive, watch, workers)
    count = archive.db.execute("SELECT (SELECT count(*) FROM deposits), (SELECT count(*) FROM records)").fetchone()
    return {"entries": entries, "deposits": count[0], "records": count[1], "files": len(files.records)}
