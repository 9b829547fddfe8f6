"""The records ready for counting: a few small Parquet files beside the database, in the user's cache.

Each file holds one block of records (standing_columns.BLOCK_BITS), one row per record, with what a statistic asks for
worked out beforehand: which record stands, which test of a link was the first, how often it was tested, what its
instrument is. A deposit adds to the last block or begins a new one; a block in which anything changed since (a retest,
an amendment, a withdrawal) is written again, the others stay as they are. So there are never many files, none needs
merging, and a statistic reads one column of all of them. They lie in the user's cache, not in the archive: a reader
needs no right to write, and what another user's machine has derived is never trusted. `muniment sql --as parquet`
writes them out for other tools. This module needs no Arrow as long as nothing changed.
"""

from __future__ import annotations

import tempfile
import time
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from archive.store import files, memory
from archive.store.archive import Archive
from archive.store.catalogue.standing_columns import BLOCK_BITS
from archive.store.checked_files import tell_passed_over

if TYPE_CHECKING:
    from archive.spread import Workers

VERSION = 9
"""Raised whenever the columns change: older files are then written again."""

_NAME = "counting"
_GRACE = 600.0
"""Seconds for which files that were replaced stay, for whoever is reading them."""


@dataclass(frozen=True)
class Counting:
    """The files, and the parameters that the records of each were graded at.

    records: one row per record, columns columns.ORDER and, for each of `parameters`, margin_* and graded_*.
    cells: one row per set of records that count and agree in columns.CELLS, with their number.
    failures: one row per curve or reading that failed; columns columns.FAILURES; files that hold none are
    left out.
    """

    records: tuple[Path, ...]
    cells: tuple[Path, ...]
    failures: tuple[Path, ...]
    parameters: tuple[str, ...]
    alike: bool
    """All files of records have the same columns."""


def counting(
    archive: Archive, watch: Callable[[Iterable[int]], Iterable[int]] = iter, workers: Workers | None = None
) -> Counting:
    """The files, brought up to the ledger. watch: passes the blocks through that are written again; workers: who reads
    the bags.

    A deposit of which a file is damaged is named, and counts as far as the catalogue knows its records. Errors: Trouble
    where the ledger is damaged.
    """
    archive.catch_up()
    db = archive.db
    folder = _folder(archive)
    if db.in_transaction:
        return _of(folder, _brought_up(archive, folder, watch, workers))
    db.execute("BEGIN")  # what is read of the database is of one moment
    try:
        return _of(folder, _brought_up(archive, folder, watch, workers))
    finally:
        db.execute("COMMIT")


def forget(archive_id: str) -> None:
    """Deletes the files."""
    place = memory.folder(archive_id)
    if place is not None:
        memory.remember(archive_id, _NAME, None)
        for path in (place / _NAME).glob("*.parquet"):
            path.unlink(missing_ok=True)


def _brought_up(
    archive: Archive, folder: Path, watch: Callable[[Iterable[int]], Iterable[int]], workers: Workers | None
) -> dict[str, Any]:
    db = archive.db
    held: Any = memory.recall(archive.id, _NAME) if archive.remembers else None
    hidden = [u.number for u in archive.unread() if u.deposit is not None and not u.applied]
    now = int(db.execute("SELECT value FROM meta WHERE key = 'next'").fetchone()[0])
    fits = _fits(db, held, hidden) and not _disposed_since(db, held)
    found = held["parts"] if fits else []
    if not found or not all((folder / p[f]).is_file() for p in found for f in ("file", "cells")):
        held = {"next": 0, "parts": []}
    mended = {p["block"] for p in held["parts"] if any(files.holds(archive.root / f, d) for _, f, d in p["lacks"])}
    if held["next"] != now or mended:
        from archive.store.counting import build_block

        parts = {p["block"]: p for p in held["parts"]}
        for block in watch(sorted(mended.union(_stale(db, parts)))):
            parts[block] = build_block.block(archive, folder, block, parts.get(block), now, workers)
        last = db.execute("SELECT value FROM meta WHERE key = 'last'").fetchone()[0]
        listed = [parts[b] for b in sorted(parts)]
        held = {"version": VERSION, "hidden": hidden, "next": now, "last": last, "parts": listed}
        if archive.remembers:
            memory.remember(archive.id, _NAME, held)
        _tidy(folder, held)
    for deposit, path, _ in (lacking for p in held["parts"] for lacking in p["lacks"]):
        tell_passed_over(deposit, path, "what its records came to at each parameter is not counted")
    return held  # type: ignore[no-any-return]


def _fits(db: Any, held: Any, hidden: list[int]) -> bool:
    """Whether files were derived from a ledger that this one continues, without the same deposits."""
    if not isinstance(held, dict) or held.get("version") != VERSION or not held["next"] or held["hidden"] != hidden:
        return False
    found = db.execute("SELECT sha256 FROM entries WHERE number < ? AND sha256 = ?", (held["next"], held["last"]))
    return found.fetchone() is not None


def _disposed_since(db: Any, held: Any) -> bool:
    """Whether records were disposed of since: what was derived of them is not to be counted, or kept, any more."""
    found = db.execute("SELECT 1 FROM disposals WHERE number >= ?", (held["next"],))
    return found.fetchone() is not None


def _stale(db: Any, parts: dict[int, dict[str, Any]]) -> list[int]:
    """Blocks that are not there, or in which something changed since."""
    changed = {int(b): int(n) for b, n in db.execute("SELECT block, number FROM counting_changed")}
    upto = {b: int(parts[b]["upto"]) if b in parts else -1 for b in changed}
    stale = {b for b, n in changed.items() if n > upto[b]}
    if parts:
        facts = db.execute(
            f"SELECT r.row >> {BLOCK_BITS} AS block, max(j.number) FROM jobs j JOIN records r ON r.job_id = j.job_id "
            "WHERE j.number >= ? GROUP BY block",
            (min(int(p["upto"]) for p in parts.values()),),
        )
        stale.update(int(b) for b, n in facts if n >= upto[b])
    return sorted(stale)


def _of(folder: Path, held: dict[str, Any]) -> Counting:
    parts = held["parts"]
    sets = [tuple(p["parameters"]) for p in parts]
    return Counting(
        tuple(folder / p["file"] for p in parts),
        tuple(folder / p["cells"] for p in parts),
        tuple(folder / p["failures"] for p in parts if p["failures"]),
        tuple(dict.fromkeys(name for names in sets for name in names)),
        len(set(sets)) < 2,
    )


def _folder(archive: Archive) -> Path:
    place = memory.folder(archive.id) if archive.remembers else None
    if place is None:
        return _passing()
    (place / _NAME).mkdir(exist_ok=True)
    return place / _NAME


_kept: list[tempfile.TemporaryDirectory[str]] = []


def _passing() -> Path:
    """A folder for this process alone, where the user has no cache to write to."""
    if not _kept:
        _kept.append(tempfile.TemporaryDirectory(prefix="muniment-"))
    return Path(_kept[0].name)


def _tidy(folder: Path, held: dict[str, Any]) -> None:
    """Removes files that were replaced a while ago."""
    used = {name for p in held["parts"] for name in (p["file"], p["cells"], p["failures"])}
    for path in folder.iterdir():
        try:
            if path.name not in used and time.time() - path.stat().st_mtime > _GRACE:
                path.unlink()
        except FileNotFoundError:
            continue
