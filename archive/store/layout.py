"""Where things stand in an archive, and the ids they get."""

from __future__ import annotations

import os
import re
import secrets
from datetime import datetime
from pathlib import Path

from archive.objects import StorePath

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


def entry_count(root: Path, known: int = 0) -> int:
    """One more than the highest number that has a file in the ledger. known: the count at an earlier look; an object
    store is asked for what comes after alone."""
    ledger = root / LEDGER
    if isinstance(ledger, StorePath):
        return _count_of_keys(ledger, known)
    for folder in sorted((p.name for p in ledger.iterdir() if p.name.isdigit()), reverse=True):
        names = os.listdir(ledger / folder)  # noqa: PTH208 - asked at each question, for names alone
        last = max((name for name in names if len(name) == _LONG), default="")
        if not _ENTRY.fullmatch(last):  # something else lies there
            last = max(filter(_ENTRY.fullmatch, names), default="")
        if last:
            return int(last[:8]) + 1
    return 0


def _count_of_keys(ledger: StorePath, known: int) -> int:
    """The last entry known is listed too: where it is not there, the ledger is shorter than it was."""
    root = StorePath(ledger.parent)
    before = StorePath(entry_path(root, known - 2)).key if known > 1 else ""
    keys = ledger.bucket.keys(ledger.key, before)
    numbers = [int(n[1]) for key in keys if (n := _ENTRY.fullmatch(key.rpartition("/")[2]))]
    if before and max(numbers, default=0) < known - 1:
        return _count_of_keys(ledger, 0)
    return max(numbers, default=-1) + 1


def new_id(at: datetime) -> str:
    """An id that sorts by day and that nobody else makes: 2026-11-25-3f9a1c0712."""
    return f"{at:%Y-%m-%d}-{secrets.token_hex(5)}"


def deposit_path(at: datetime, deposit: str) -> str:
    """Path of a deposit's bag inside the archive."""
    return f"{DEPOSITS}/{at:%Y}/{deposit}"
