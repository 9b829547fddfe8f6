"""What this user's machine remembers of an archive: the last head seen, and derived data that may be thrown away.

It lies in the user's cache folder under the archive's id, so that a reader needs no right to write in the archive.
MUNIMENT_CACHE names another folder for it. Losing it loses speed, and the memory of the head: a rollback of the
archive then shows only against a receipt, a claim file, a second copy or a time stamp.
"""

from __future__ import annotations

import json
import os
from contextlib import suppress
from pathlib import Path
from typing import Any

from archive.atomic import write_bytes
from archive.errors import Trouble


def folder(archive_id: str) -> Path | None:
    """The folder for one archive, made where it is not there; None where this user can write to none."""
    given = os.environ.get("MUNIMENT_CACHE")
    if given:
        base = Path(given)
    else:
        import platformdirs

        base = Path(platformdirs.user_cache_dir("muniment", appauthor=False))
    place = base / archive_id
    try:
        place.mkdir(parents=True, exist_ok=True)
    except OSError:
        return None
    return place if os.access(place, os.W_OK) else None


def recall(archive_id: str, name: str) -> Any:
    """What was remembered under a name, or None."""
    place = folder(archive_id)
    if place is None:
        return None
    try:
        return json.loads((place / f"{name}.json").read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return None


def remember(archive_id: str, name: str, value: Any) -> None:
    """Keeps a value under a name. A cache that cannot be written is no fault: nothing is kept then."""
    place = folder(archive_id)
    if place is None:
        return
    with suppress(OSError, Trouble):
        write_bytes(place / f"{name}.json", json.dumps(value, ensure_ascii=False).encode(), durable=False)
