"""Where things stand in an archive, and the ids they get."""

from __future__ import annotations

import os
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
_LONG = len("00000042.json")
_ENTRY = re.compile(r"(\d{8})\.json")


def entry_path(root: Path, number: int) -> Path:
    """File of one ledger entry: ledger/0000/00000042.json."""
    return root / LEDGER / f"{number // _PER_FOLDER:04d}" / f"{number:08d}.json"


def entry_count(root: Path) -> int:
    """One more than the highest number that has a file in the ledger."""
    ledger = root / LEDGER
    for folder in sorted((p.name for p in ledger.iterdir() if p.name.isdigit()), reverse=True):
        names = os.listdir(ledger / folder)  # noqa: PTH208 - asked at each question, for names alone
        last = max((name for name in names if len(name) == _LONG), default="")
        if not _ENTRY.fullmatch(last):  # something else lies there
            last = max(filter(_ENTRY.fullmatch, names), default="")
        if last:
            return int(last[:8]) + 1
    return 0


def new_id(at: datetime) -> str:
    """An id that sorts by day and that nobody else makes: 2026-11-25-3f9a1c0712."""
    return f"{at:%Y-%m-%d}-{secrets.token_hex(5)}"


def deposit_path(at: datetime, deposit: str) -> str:
    """Path of a deposit's bag inside the archive."""
    return f"{DEPOSITS}/{at:%Y}/{deposit}"
