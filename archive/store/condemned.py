"""Bytes that a redaction condemned: removed right after its entry, or by the next command of anybody who may write."""

from __future__ import annotations

import sqlite3
from contextlib import suppress
from pathlib import Path

from archive import disk
from archive.store import files


def take_away(db: sqlite3.Connection, root: Path) -> dict[str, int]:
    """Removes what the ledger says is gone and is still there; gives the paths with the number of the redaction.

    Who may not remove it leaves it: `fixity` names it.
    """
    removed = {}
    for path, digest, number in db.execute("SELECT path, sha256, number FROM gone").fetchall():
        place = root / path
        if files.holds(place, digest):
            with suppress(PermissionError):
                disk.remove(place)
                disk.sync_folder(place.parent)
                removed[str(path)] = int(number)
    return removed
