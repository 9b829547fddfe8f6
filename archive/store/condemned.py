"""Bytes that a redaction condemned: removed right after its entry, or by the next command of anybody who may write."""

from __future__ import annotations

import sqlite3
import warnings
from contextlib import suppress
from pathlib import Path

from archive import disk
from archive.errors import Caveat
from archive.objects import StorePath
from archive.objects.refusals import NotAllowed
from archive.store import files


class OldBytesRemain(Caveat):
    """Bytes were taken away, and the store keeps what it held before."""


def remove_for_good(place: Path) -> None:
    """Takes a file away, as far as that can be done. On a bucket that keeps versions its old bytes remain, and that is
    told."""
    disk.remove(place)
    disk.sync_folder(place.parent)
    if isinstance(place, StorePath) and place.bucket.keeps_versions:
        told = (
            f"the bucket of {place} keeps versions: what was taken out is still there as an old version until whoever "
            "administers the bucket deletes it, and for as long it is not gone"
        )
        warnings.warn(told, OldBytesRemain, stacklevel=3)


def take_away(db: sqlite3.Connection, root: Path, *, looked: bool = False) -> dict[str, int]:
    """Removes what the ledger says is gone and is still there; gives the paths with the number of the redaction.

    Who may not remove it leaves it: `fixity` names it. looked: an object store was listed as a whole just now.
    """
    removed = {}
    gone = db.execute("SELECT path, sha256, number FROM gone").fetchall()
    if gone and not looked and isinstance(root, StorePath):
        root.look()
    for path, digest, number in gone:
        place = root / path
        if isinstance(place, StorePath) and not place.was_seen():
            continue
        if files.holds(place, digest):
            with suppress(PermissionError, NotAllowed):
                remove_for_good(place)
                removed[str(path)] = int(number)
    return removed
