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
        place = root / path
        if place.is_file() and files.fingerprint(place).sha256 == digest:
            yield Damage(path, "was redacted and its bytes are still there; run any command that may write")


def count_files(root: Path, entry: LedgerEntry) -> int:
    """Files that an entry commits and that are there."""
    bags = [root / folder for folder in bags_of(entry) if (root / folder).is_dir()]
    return len(entry.files) + sum(len(payload(bag)) + 3 for bag in bags)


def strays(root: Path, entries: list[LedgerEntry]) -> Iterator[Damage]:
    """Files that no entry commits, where only committed ones belong; bags without an entry are told elsewhere."""
    known = {path for e in entries for path in e.files}
    folders = {Path(path).parent.as_posix() for path in known}
    for path in sorted(p for p in root.iterdir() if p.is_file()):
        if path.name not in known and not path.name.startswith("."):
            yield Damage(path.name, "not committed by the ledger")
    for folder in sorted((root / layout.EVENTS).glob("*")):
        name = folder.relative_to(root).as_posix()
        if name in folders and folder.is_dir():
            bag = any(p == f"{name}/{TAG_MANIFEST}" for p in known)
            for path in sorted(folder.rglob("*")):
                inside = path.relative_to(root).as_posix()
                if path.is_file() and not bag and inside not in known:
                    yield Damage(inside, "not committed by the ledger")
    top = {
        layout.SCHEMA,
        layout.LEDGER,
        layout.DEPOSITS,
        layout.ASSESSMENTS,
        layout.EVENTS,
        layout.CATALOGUE,
        layout.MERGED,
        layout.ASIDE,
    }
    for path in sorted(p for p in root.iterdir() if p.is_dir() and p.name not in top):
        yield Damage(path.name, "no part of an archive")


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
