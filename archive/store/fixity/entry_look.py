"""What one ledger entry commits, looked at to a depth: the piece of a fixity run that is done by itself."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from archive.store.bags import Damage
from archive.store.committed import bags_of
from archive.store.fixity import bags, deep
from archive.store.fixity.report import COUNT, DEEP
from archive.store.ledger import LedgerEntry
from archive.store.parquet import BagTables

Reread = Callable[[Path, BagTables], Iterator[dict[str, Any]]]
"""Reads the originals of a bag again and reports, as findings, which records come out otherwise."""


@dataclass(frozen=True)
class EntryToLookAt:
    """An entry, and what was taken out of its files. reread: see fixity."""

    root: Path
    entry: LedgerEntry
    depth: str
    gone: Mapping[str, str]
    reread: Reread | None = field(default=None, repr=False)


@dataclass(frozen=True)
class EntryLook:
    """Damage and findings, and the number of files that are there."""

    damage: tuple[Damage, ...]
    findings: tuple[dict[str, Any], ...] = ()
    files: int = 0


def pieces(
    root: Path, entries: list[LedgerEntry], gone: Mapping[str, str], depth: str, reread: Reread | None
) -> list[EntryToLookAt]:
    """One for each entry, with those of the files taken out that are its own."""
    made = []
    for entry in entries:
        folders = tuple(f"{folder}/" for folder in bags_of(entry))
        own = {p: d for p, d in gone.items() if p in entry.files or p.startswith(folders)}
        made.append(EntryToLookAt(root, entry, depth, own, reread))
    return made


def look(piece: EntryToLookAt) -> EntryLook:
    """Looks at what an entry commits; a deposit's records are made again only where its bytes are as they were."""
    root, entry, gone = piece.root, piece.entry, dict(piece.gone)
    found = list(bags.look(root, entry, gone, bytes_too=piece.depth != COUNT))
    findings: list[dict[str, Any]] = []
    deposit = entry.kind == "deposit"
    if deposit and piece.depth == DEEP and not any(d.path.startswith(entry["path"]) for d in found):
        found += deep.records(root, entry, gone)
        if piece.reread is not None and not found:
            findings += piece.reread(root / entry["path"], BagTables(root / entry["path"]))
    return EntryLook(tuple(found), tuple(findings), bags.count_files(root, entry))
