"""Calibrations of units that a person hands in: an event with their rows and the file that says them."""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from archive.store.archive import Archive
from archive.store.catalogue.apply_event import CALIBRATION as COLUMNS
from archive.store.events.write import record
from archive.store.ledger import LedgerEntry
from archive.store.ledger.entry import Sign


def keep_calibrations(
    archive: Archive,
    path: Path,
    data: bytes,
    rows: Sequence[dict[str, Any]],
    *,
    by: str | None,
    reason: str | None,
    sign: Sign | None = None,
) -> tuple[LedgerEntry | None, list[dict[str, Any]]]:
    """Keeps the calibrations that are new, and the file. Gives the entry (None: nothing is new) and the new ones."""
    archive.catch_up()
    there = {tuple(r) for r in archive.db.execute(f"SELECT {', '.join(COLUMNS)} FROM calibrations").fetchall()}
    new = {key: dict(zip(COLUMNS, key, strict=True)) for r in rows if (key := tuple(r.get(c) for c in COLUMNS))}
    made = [row for key, row in new.items() if key not in there]
    if not made:
        return None, []
    digest = hashlib.sha256(data).hexdigest()
    ending = path.suffix.lower() if path.suffix[1:].isalnum() and len(path.suffix) < 9 else ""
    texts = {"reason": reason, "file_name": path.name, "file": f"{digest}{ending}", "calibrations": made}
    facts = {"units": len(made), "document": digest}
    attached = {f"{digest}{ending}": data}
    return record(archive, "calibrations", by=by, texts=texts, facts=facts, attached=attached, sign=sign), made
