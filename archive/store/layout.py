"""Where things stand in an archive, and the ids they get."""

from __future__ import annotations

import re
import secrets
from datetime import datetime
from pathlib import Path

SETTINGS = "archive.toml"
GUIDE = "READ-ME-FIRST.txt"
SCHEMA = "schema"
LEDGER = "ledger"
DEPOSITS = "deposits"
ASSESSMENTS = "assessments"
EVENTS = "events"
CATALOGUE = "catalogue"
MERGED = "merged"
ASIDE = "aside"

FORMAT = 1
"""Version of this layout."""

_PER_FOLDER = 10_000
_ENTRY = re.compile(r"(\d{8})\.json")


def entry_path(root: Path, number: int) -> Path:
    """File of one ledger entry: ledger/0000/00000042.json."""
    return root / LEDGER / f"{number // _PER_FOLDER:04d}" / f"{number:08d}.json"


def entry_count(root: Path) -> int:
    """One more than the highest number that has a file in the ledger."""
    ledger = root / LEDGER
    for folder in sorted((p.name for p in ledger.iterdir() if p.name.isdigit()), reverse=True):
        numbers = [int(m[1]) for p in (ledger / folder).iterdir() if (m := _ENTRY.fullmatch(p.name))]
        if numbers:
            return max(numbers) + 1
    return 0


def new_id(at: datetime) -> str:
    """An id that sorts by day and that nobody else makes: 2026-11-25-3f9a1c0712."""
    return f"{at:%Y-%m-%d}-{secrets.token_hex(5)}"


def deposit_path(at: datetime, deposit: str) -> str:
    """Path of a deposit's bag inside the archive."""
    return f"{DEPOSITS}/{at:%Y}/{deposit}"
