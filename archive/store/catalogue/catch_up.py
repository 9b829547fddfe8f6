"""Bringing the database up to the ledger: entry after entry, each applied once, in order."""

from __future__ import annotations

import hashlib
import sqlite3
from pathlib import Path
from typing import Any

from archive.store import files, layout, merkle, unread, unread_deposits
from archive.store.catalogue import apply_event, cable_columns, database, standing_columns
from archive.store.catalogue.apply_event import row_of
from archive.store.checked_files import CheckedFiles, DamagedFile, damaged
from archive.store.ledger import VOID_LEAF, Ledger, LedgerEntry
from archive.store.records import DECIDED, RECORD_COLUMNS, catalogue_rows, link_keys, readings

_TOGETHER = 64
"""Entries whose files an object store is asked for beside each other."""

_VOID = ("void", None, None, None, VOID_LEAF)


_OF_THIS_MACHINE = (
    *(
        "sqlite_",
        "words",
        "label_grams",
        "letter_grams",
        "link_labels",
        "counting",
        "checked",
        "event_texts",
        "unread_deposits",
    ),
)
_BUILT_FROM = (
    "event.json",
    "deposit.json",
    *(f"/{n}.parquet" for n in ("jobs", "documents", "schedule", "places", "links")),
)


def catch_up(db: sqlite3.Connection, root: Path, ledger: Ledger) -> int:
    """Applies what the ledger holds and the database does not; gives the number of entries applied so far.

    A deposit of which a file is missing or damaged is passed over, and noted. Errors: Trouble where an entry is.
    """
    ledger.known = max(ledger.known, int(_meta(db, "next")))
    count = ledger.count()
    rebuild = unread.look_again(db, root) | unread_deposits.look_again(db, root)
    if _meta(db, "next") == count and _fits(db, ledger, count) and not rebuild:
        return count
    with database.writing(db):
        start = int(_meta(db, "next"))
        if rebuild or not _fits(db, ledger, start):
            database.empty(db)
            start = 0
        return _apply_from(db, root, ledger, start)


def _fits(db: sqlite3.Connection, ledger: Ledger, start: int) -> bool:
    """Whether the ledger still holds the entry that was applied last."""
    if start == 0:
        return True
    data = ledger.data(start - 1)
    return data is not None and files.sha256(data) == _meta(db, "last")


def _apply_from(db: sqlite3.Connection, folder: Path, ledger: Ledger, start: int, stop: int | None = None) -> int:
    checked = CheckedFiles(db, folder)
    ledger.fetch(start)
    listed = [ledger.read(number) for number in range(start, ledger.count())]
    entries = [entry for entry in listed if entry is not None]
    if start and any(g["path"].endswith(_BUILT_FROM) for e in entries for g in e.get("gone", [])):
        database.empty(db)  # what an earlier entry said is not there any more
        return _apply_from(db, folder, ledger, 0, stop)
    for one in entries:  # before all others: what was redacted later is not there to be read
        apply_event.redaction(db, checked, one)
    done = start
    tree = merkle.Tree()
    for leaf in leaves(db, start):
        tree.add(leaf)
    for number, entry in enumerate(listed[: None if stop is None else stop - start], start):
        if (number - start) % _TOGETHER == 0:
            checked.fetch(e for e in listed[number - start :][:_TOGETHER] if e is not None)
        if entry is None and number + 1 == start + len(listed):
            break  # torn, and about to be voided by the person who decided so
        tree.add(VOID_LEAF if entry is None else entry.leaf)
        said = (entry.kind, entry.get("at"), entry.get("by"), entry.sha256, entry.leaf) if entry else _VOID
        db.execute("INSERT INTO entries VALUES(?, ?, ?, ?, ?, ?, ?)", (number, *said, tree.root().hex()))
        if entry is None:
            continue
        checked.check(layout.entry_path(Path(), number).as_posix(), entry.sha256, always=True)
        apply(db, checked, entry)
        done = number + 1
        db.execute("UPDATE meta SET value = ? WHERE key = 'next'", (done,))
        db.execute("UPDATE meta SET value = ? WHERE key = 'last'", (entry.sha256,))
    standing_columns.refresh(db)
    return done


def apply(db: sqlite3.Connection, files: CheckedFiles, entry: LedgerEntry) -> None:
    """What one entry changes beside the list of entries."""
    kept = [(t["sha256"], entry.number) for path, t in entry.files.items() if path.endswith("/tables.toml")]
    db.executemany("INSERT OR IGNORE INTO schemas VALUES(?, ?)", kept)
    if entry.kind == "created" and layout.SETTINGS in entry.files:
        files.check(layout.SETTINGS, entry.files[layout.SETTINGS]["sha256"], always=True)
    elif entry.kind == "deposit":
        _deposit(db, files, entry)
    elif entry.kind == "event":
        apply_event.event(db, files, entry)


def rebuilt(root: Path, ledger: Ledger, stop: int | None = None) -> sqlite3.Connection:
    """A database derived again from ledger and index files, in memory. stop: from so many entries, without it all."""
    db = database.in_memory()
    with database.writing(db):
        _apply_from(db, root, ledger, 0, stop)
    return db


def contents(db: sqlite3.Connection) -> dict[str, str]:
    """Digest of the rows of each table of a database, in the order of their keys."""
    names = [r[0] for r in db.execute("SELECT name FROM sqlite_master WHERE type = 'table' ORDER BY name")]
    found = {}
    for name in names:
        if name.startswith(_OF_THIS_MACHINE):
            continue  # they say what records say, when they changed, and what this machine has looked at
        sha = hashlib.sha256()
        for row in db.execute(f'SELECT * FROM "{name}" ORDER BY 1, 2'):
            sha.update(repr(tuple(row)).encode())
        found[name] = sha.hexdigest()
    return found


def leaves(db: sqlite3.Connection, stop: int) -> list[bytes]:
    """Leaves of the entries before a number."""
    return [bytes(r[0]) for r in db.execute("SELECT leaf FROM entries WHERE number < ? ORDER BY number", (stop,))]


def root(db: sqlite3.Connection, size: int) -> str | None:
    """Root of the tree over the first entries, in hexadecimal digits; None where there are not so many."""
    if size == 0:
        return merkle.Tree().root().hex()
    found = db.execute("SELECT root FROM entries WHERE number = ?", (size - 1,)).fetchone()
    return None if found is None else str(found[0])


def _meta(db: sqlite3.Connection, key: str) -> Any:
    return db.execute("SELECT value FROM meta WHERE key = ?", (key,)).fetchone()[0]


def _deposit(db: sqlite3.Connection, files: CheckedFiles, entry: LedgerEntry) -> None:
    db.execute(
        "INSERT INTO deposits VALUES(?, ?, ?, ?, ?, ?, 0)",
        (entry.number, entry["deposit"], entry["path"], entry.get("job"), entry["records"], entry["root"]),
    )
    db.execute("SAVEPOINT deposit")
    try:
        digests = files.of_entry(entry)
        _records(db, files, entry, digests)
        apply_event.deposit_texts(db, files, entry, digests)
    except DamagedFile as lost:
        db.execute("ROLLBACK TO deposit")
        unread_deposits.put(db, entry, lost.path, lost.sha256)
    db.execute("RELEASE deposit")


def _records(db: sqlite3.Connection, files: CheckedFiles, entry: LedgerEntry, digests: dict[str, str]) -> None:
    deposit = entry["deposit"]
    before = db.execute("SELECT coalesce(sum(records), 0) FROM deposits WHERE number < ?", (entry.number,))
    base = int(before.fetchone()[0]) + 1
    names = ["row", "deposit", *RECORD_COLUMNS, "link_key", "reading", "kind", "cable_basis"]
    path = f"{entry['path']}/data/index.parquet"
    if entry["records"] and path not in digests:
        raise damaged(files.root, path, "")
    if entry["records"] and files.current(path, digests[path]) is not None:
        index = catalogue_rows(
            files.check(path, digests[path], always=True), files.tables(entry["path"], digests, always=True)
        )
        kinds = ["new"] * index.num_rows
        for kind in DECIDED:
            for position, *_ in entry["decisions"].get(kind, []):
                kinds[position] = kind
        listed = [index[name].to_pylist() for name in RECORD_COLUMNS]
        rows = zip(
            range(base, base + index.num_rows),
            [deposit] * index.num_rows,
            *listed,
            link_keys(index),
            readings(index),
            kinds,
            map(cable_columns.basis, index["cable_found"].to_pylist(), index["cable_type"].to_pylist()),
            strict=True,
        )
        db.executemany(f"INSERT INTO records({', '.join(names)}) VALUES({', '.join('?' * len(names))})", rows)
    for kind in DECIDED:
        pairs = [(row_of(db, former), base + here) for here, former, *_ in entry["decisions"].get(kind, []) if former]
        db.executemany("UPDATE records SET former = ? WHERE row = ?", pairs)
    gone = [(row_of(db, former),) for former in entry["decisions"].get("replaced", [])]
    db.executemany("UPDATE records SET replaced = 1 WHERE row = ?", gone)
    db.execute(
        "INSERT OR IGNORE INTO sources SELECT source_id, reading, ?, count(*) FROM records "
        "WHERE deposit = ? AND source_id IS NOT NULL GROUP BY source_id, reading",
        (entry.number, deposit),
    )
