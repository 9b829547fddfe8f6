"""Everything outside the ledger against the ledger: files that entries commit, and bags down to their last file."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

from archive.store import aside, files, layout
from archive.store.bags import TAG_MANIFEST, Damage, check, payload
from archive.store.committed import bags_of
from archive.store.ledger import LedgerEntry


def look(root: Path, entry: LedgerEntry, gone: dict[str, str], *, bytes_too: bool) -> Iterator[Damage]:
    """Damage of what one entry commits. Paths are inside the archive."""
    for folder, digest in bags_of(entry).items():
        inside = frozenset(p.removeprefix(f"{folder}/") for p in gone if p.startswith(f"{folder}/"))
        for d in check(root / folder, digest, bytes_too=bytes_too, gone=inside):
            yield Damage(f"{folder}/{d.path}" if d.path else folder, d.what)
    for path, told in entry.files.items():
        if path.endswith(f"/{TAG_MANIFEST}") or path in gone:
            continue
        yield from _file(root, path, told, bytes_too)


def left_over(root: Path, gone: dict[str, str]) -> Iterator[Damage]:
    """Bytes that a redaction was to take away and that are still there."""
    for path, digest in gone.items():
        if files.holds(root / path, digest):
            yield Damage(path, "was redacted and its bytes are still there; run any command that may write")


def count_files(root: Path, entry: LedgerEntry) -> int:
    """Files that an entry commits and that are there."""
    bags = [root / folder for folder in bags_of(entry) if (root / folder).is_dir()]
    return len(entry.files) + sum(len(payload(bag)) + sum(p.is_file() for p in bag.iterdir()) - 1 for bag in bags)


NOT_COMMITTED, NO_PART = "not committed by the ledger", "no part of an archive"
_COUNTS_FOR_NOTHING = (layout.ASIDE, layout.CATALOGUE)


def strays(root: Path, entries: list[LedgerEntry]) -> Iterator[Damage]:
    """Files that no entry commits, wherever they lie. What lies in aside/ and catalogue/ counts for nothing; files of
    the ledgers, in bags, and in folders without an entry are named elsewhere."""
    known = {path for e in entries for path in e.files}
    bags = {folder for e in entries for folder in bags_of(e)}
    apart = {*bags, *without_entry(root, entries), layout.LEDGER}
    apart |= {f"{layout.MERGED}/{e['other']}/{layout.LEDGER}" for e in entries if e.get("event") == "merge"}
    top = [layout.SCHEMA, layout.DEPOSITS, layout.ASSESSMENTS, layout.EVENTS, layout.MERGED, layout.LEDGER]
    for place in sorted(root.iterdir()):
        if place.is_dir() and place.name in _COUNTS_FOR_NOTHING:
            continue
        if place.is_dir() and place.name not in top:
            yield Damage(place.name, NO_PART)
            continue
        if place.is_file() and place.name.startswith("."):
            continue  # a file browser's own
        for path in _files_under(root, place, apart):
            if path not in known:
                yield Damage(path, NOT_COMMITTED)


def _files_under(root: Path, place: Path, apart: set[str]) -> Iterator[str]:
    """Files under a place by their paths in the archive, without those in some folders."""
    inside = place.relative_to(root).as_posix()
    if inside in apart:
        return
    if place.is_dir() and not place.is_symlink():
        for path in sorted(place.iterdir()):
            yield from _files_under(root, path, apart)
    else:
        yield inside


def without_entry(root: Path, entries: list[LedgerEntry]) -> list[str]:
    """Bags and events in their place without a ledger entry: stopped before the commit, or in the making now."""
    return [p.relative_to(root).as_posix() for p in aside.standing_without(root, entries)]


def _file(root: Path, path: str, told: dict[str, object], bytes_too: bool) -> Iterator[Damage]:
    place = root / path
    if not place.is_file():
        yield Damage(path, "missing")
    elif place.stat().st_size != told["bytes"]:
        yield Damage(path, f"has {place.stat().st_size} bytes, not {told['bytes']}")
    elif bytes_too and files.fingerprint(place).sha256 != told["sha256"]:
        yield Damage(path, "changed: its digest is not the one in the ledger")
