"""Bytes that a redaction condemned: removed right after its entry, or by the next writer where it was stopped."""

from __future__ import annotations

from archive import disk
from archive.store import files
from archive.store.archive import Archive


def take_away(archive: Archive) -> list[str]:
    """Removes what the ledger says is gone and is still there; gives the paths.

    A writer who may not remove it leaves it: `fixity` tells.
    """
    archive.catch_up()
    removed = []
    for path, digest in archive.db.execute("SELECT path, sha256 FROM gone").fetchall():
        place = archive.root / path
        if not place.is_file() or files.fingerprint(place).sha256 != digest:
            continue
        try:
            disk.remove(place)
            disk.sync_folder(place.parent)
        except PermissionError:
            continue
        removed.append(str(path))
    return removed
