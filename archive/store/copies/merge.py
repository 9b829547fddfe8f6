"""Two archives joined. The other chain is filed under its own id, never re-chained; its deposits become deposits here.

Dedup looks at them as at any deposit: what is here already is not counted twice. Corrections, withdrawals, holds,
redactions and disposals of the other archive are repeated here with the number they had there; what was disposed of
there does not come. Stopped in the middle, run again.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from typing import Any

from archive import disk
from archive.errors import Trouble
from archive.store import aside, files, layout
from archive.store.archive import Archive
from archive.store.catalogue.apply_event import DISPOSAL, DISPOSAL_PROPOSED
from archive.store.committed import redacted
from archive.store.copies.copy_entry import copy_entry
from archive.store.deposits.decide import decide
from archive.store.deposits.fetch import Fetcher
from archive.store.events.write import record
from archive.store.fixity.chain import walk
from archive.store.ledger import LedgerEntry
from archive.store.ledger.entry import Sign
from archive.store.parquet import BagTables
from archive.store.records import catalogue_rows, index_path

_REPEATED = (
    "accept",
    "amend",
    "attach",
    "book issued",
    "cables",
    "calibrations",
    "claim issued",
    "case",
    DISPOSAL,
    DISPOSAL_PROPOSED,
    "hold",
    "identity",
    "job",
    "mapping",
    "redact",
    "release",
    "setaside",
    "withdraw",
)


@dataclass
class Merge:
    """What was joined: deposits, other entries, records by kind of decision."""

    deposits: int = 0
    events: int = 0
    counts: dict[str, int] = field(default_factory=dict)


def merge(
    archive: Archive,
    other: Archive,
    *,
    by: str | None,
    reason: str | None,
    sign: Sign | None = None,
    each: Callable[[list[Any]], Iterable[Any]] = iter,
) -> Merge:
    """Joins another archive into this one. Errors: Trouble where it is the same one, or its ledger is not sound."""
    if archive.id == other.id:
        raise Trouble(
            "both are the same archive",
            code="merge.same-archive",
            found=archive.id,
            remedy="use `muniment repair` or `muniment export`",
        )
    theirs = walk(other.root, other.id)
    if theirs.damage:
        raise Trouble(
            "the ledger of the other archive is not sound",
            code="merge.ledger-unsound",
            where=str(other.root),
            found=theirs.state,
        )
    archive.catch_up()
    done = Merge()
    here = list(archive.entries())
    known, places = {tuple(e["from"]) for e in here if e.get("from")}, {_place(e) for e in here} - {""}
    gone = redacted(theirs.entries)
    disposed = set(redacted(e for e in theirs.entries if e.get("event") == DISPOSAL))
    for entry in each(theirs.entries):
        if (other.id, entry.number) in known or _place(entry) in places or _disposed(entry, disposed):
            continue
        if entry.kind == "deposit":
            _deposit(archive, other, entry, gone, sign, done)
        elif entry.kind == "assessment" or (entry.kind == "event" and entry["event"] in _REPEATED):
            _again(archive, other, entry, gone, sign)
            done.events += 1
    _file_chain(archive, other, theirs.entries)
    if not any(e.get("event") == "merge" and e["other_root"] == theirs.roots[-1] for e in archive.entries()):
        facts = {"other": other.id, "other_size": len(theirs.roots), "other_root": theirs.roots[-1]}
        record(archive, "merge", by=by, texts={"reason": reason, **facts}, facts=facts, sign=sign)
    archive.take_away_condemned()
    return done


def _place(entry: LedgerEntry) -> str:
    """Where what an entry brought stands, in whatever archive: it may come back, or by two ways. "": at the top."""
    return next((path.rpartition("/")[0] for path in entry.files if entry.kind != "created"), "")


def _disposed(entry: LedgerEntry, gone: set[str]) -> bool:
    """Whether what an entry brought was disposed of: the entry of the disposal, which is repeated, says so."""
    named = f"{entry['path']}/data/index.parquet" if entry.kind == "deposit" else f"events/{entry.get('id')}/event.json"
    return named in gone


def _deposit(
    archive: Archive, other: Archive, entry: LedgerEntry, gone: dict[str, str], sign: Sign | None, done: Merge
) -> None:
    deposit, place = entry["deposit"], entry["path"]
    writing = aside.begin(archive, deposit)
    try:
        copy_entry(other.root, entry, archive.root, writing.folder, gone)
        bag = archive.root / place
        index = catalogue_rows(index_path(bag), BagTables(bag)) if entry["records"] else None

        def fields() -> dict[str, Any]:
            if index is None:
                return _fields(entry, other)
            made = decide(archive.db, index, Fetcher(archive, archive.root / place))
            return {**_fields(entry, other), "counts": made.counts(), "decisions": made.plain(deposit)}

        committed = archive.commit(fields, writing.folder, sign)
    finally:
        aside.take_back(archive, writing.folder)
    done.deposits += 1
    for kind, count in committed["counts"].items():
        done.counts[kind] = done.counts.get(kind, 0) + count


def _again(archive: Archive, other: Archive, entry: LedgerEntry, gone: dict[str, str], sign: Sign | None) -> None:
    """Repeats an event or an assessment."""
    writing = aside.begin(archive, entry["id"])
    try:
        copy_entry(other.root, entry, archive.root, writing.folder, gone)
        archive.commit(lambda: _fields(entry, other), writing.folder, sign)
    finally:
        aside.take_back(archive, writing.folder)


def _fields(entry: LedgerEntry, other: Archive) -> dict[str, Any]:
    """Fields of an entry as it is repeated here: those of the chain are its own, the rest is kept."""
    chain = ("number", "archive", "previous", "voids", "program", "at", "signature", "sha256")
    kept = {k: v for k, v in entry.fields.items() if k not in chain}
    return {**kept, "from": [other.id, entry.number], "at_first": entry["at"]}


def _file_chain(archive: Archive, other: Archive, entries: list[LedgerEntry]) -> None:
    """The other ledger, byte for byte, under merged/<its id>/ledger/."""
    base = archive.root / layout.MERGED / other.id
    for folder in (archive.root / layout.MERGED, base, base / layout.LEDGER):
        disk.make_folder(folder)
    for entry in entries:
        place = layout.entry_path(base, entry.number)
        if place.exists():
            continue
        disk.make_folder(place.parent)
        files.put(place, entry.data, archive.root / layout.ASIDE)
