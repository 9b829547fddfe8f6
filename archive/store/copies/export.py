"""A second copy of an archive, made once and brought up to date by ledger number. It is an archive itself."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from archive import disk
from archive.errors import Trouble
from archive.objects import StorePath, place
from archive.store import clock, files, layout, memory
from archive.store.archive import Archive
from archive.store.committed import redacted
from archive.store.condemned import remove_for_good
from archive.store.copies.copy_entry import copy_entry, staged
from archive.store.fixity.chain import walk
from archive.store.ledger import LedgerEntry
from archive.store.second_copy import is_second_copy, mark

_FOLDERS = (layout.LEDGER, layout.DEPOSITS, layout.ASSESSMENTS, layout.EVENTS, layout.CATALOGUE, layout.ASIDE)
"""Folders of a copy. The ledger's comes first: by it a copy is known that was hardly begun."""


@dataclass(frozen=True)
class Export:
    """What was copied: first and number of entries, bytes, head of the copy."""

    first: int
    entries: int
    bytes: int
    head: str


def export(
    archive: Archive,
    target: Path,
    since: int | None = None,
    each: Callable[[list[Any]], Iterable[Any]] = iter,
) -> Export:
    """Brings a copy up to date, or makes it. Every byte is digested on the way and compared with the ledger.

    The copy is marked as one, and nothing can be deposited or changed in it. since: first entry that the copy lacks; by
    default what the copy says itself. Errors: Trouble where the target is something else, holds another archive, or has
    entries that this archive does not have, and where a second copy would be written into an original.
    """
    target = place(target)
    here, there = archive.root.resolve(), target.resolve()
    if there == here or here in there.parents or there in here.parents:
        raise Trouble(
            "a copy cannot lie inside its archive, nor the archive inside its copy",
            code="copy.inside-itself",
            where=str(target),
            expected=f"a folder outside {archive.root}",
            remedy="name a folder on another disk: a copy on the same one is lost with it",
        )
    start = _there(archive, target)
    if start and is_second_copy(archive.root) and not is_second_copy(target):
        raise Trouble(
            "this would write from a second copy into an archive that is none",
            code="copy.into-original",
            where=str(target),
            remedy=f"bring an original up to date with `muniment repair {target} --from {archive.root}`",
        )
    size = archive.catch_up()
    if since is not None and since > start:
        raise Trouble(
            "the copy lacks earlier entries",
            code="copy.lacks-entries",
            where=str(target),
            found=f"{start} entries",
            expected=f"{since}",
        )
    # Only what is there now: entries of writers that work meanwhile come with the next export.
    listed = [e for e in archive.ledger.entries() if e.number < size]
    gone = redacted(listed)
    for folder in (target, *(target / f for f in _FOLDERS)):
        folder.mkdir(parents=True, exist_ok=True)
    total = 0
    with staged(target) as aside:
        mark(target, archive.id)
        for entry in each([e for e in listed if e.number >= start]):
            total += copy_entry(archive.root, entry, target, aside, gone)
            _take_away(target, entry)
            _commit(target, entry, archive, aside)
    head = archive.head(size)
    _remember(archive, target, head.size)
    chain = walk(target, archive.id)
    if chain.damage or not chain.holds(size, head.root):
        raise Trouble(
            "the copy has another head than this archive", code="copy.other-head", where=str(target), found=chain.state
        )
    return Export(start, size - start, total, head.root)


def _there(archive: Archive, target: Path) -> int:
    """Number of entries that the copy has."""
    if not target.exists() or (target.is_dir() and not any(target.iterdir())):
        return 0
    if isinstance(target, StorePath):
        target.look()
        target.fetch(p.relative_to(target).as_posix() for p in (target / layout.LEDGER).rglob("*.json"))
    if not target.is_dir() or not ((target / layout.LEDGER).is_dir() or is_second_copy(target)):
        raise Trouble(
            "this is no copy of an archive",
            code="copy.not-a-copy",
            where=str(target),
            remedy="name a folder that is empty or new",
        )
    count = layout.entry_count(target)
    for number in range(count):
        there = layout.entry_path(target, number)
        data, found = archive.ledger.data(number), there.read_bytes() if there.is_file() else None
        if data is not None and found is not None and number + 1 == count and data.startswith(found) and data != found:
            files.put(there, data, target / layout.ASIDE)  # an earlier export stopped in the middle of it
        elif found is None or found != data:
            raise Trouble(
                "the copy has a ledger entry that this archive does not have",
                code="copy.other-ledger",
                where=str(there),
                remedy="look at both with `muniment fixity`; copy to a new folder if this copy is the wrong one",
            )
    return count


def _take_away(target: Path, entry: LedgerEntry) -> None:
    """What a redaction took from the archive goes from the copy too."""
    for g in entry.get("gone", []):
        place = target / g["path"]
        if files.holds(place, g["sha256"]):
            remove_for_good(place)


def _commit(target: Path, entry: LedgerEntry, archive: Archive, staging: Path) -> None:
    """The entry's file comes last; numbers that it voids come before it."""
    for number in (*entry.get("voids", []), entry.number):
        place = layout.entry_path(target, number)
        data = archive.ledger.data(number)
        if place.exists() or data is None:
            continue
        disk.make_folder(place.parent)
        aside = staging / place.name
        disk.remove(aside)
        files.write_new(aside, data)
        disk.claim(aside, place)
        disk.sync_folder(place.parent)


def _remember(archive: Archive, target: Path, size: int) -> None:
    kept = [c for c in memory.recall(archive.id, "copies") or [] if c["path"] != str(target.absolute())]
    kept.append({"path": str(target.absolute()), "at": clock.text(clock.now()), "size": size})
    memory.remember(archive.id, "copies", kept)
