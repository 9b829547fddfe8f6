"""The one SQLite database of an archive, in the user's cache: derived from the ledger and the index files.

It is rebuilt from nothing at any time. It knows the ledger entry it has come to, by number and digest; where the
ledger no longer holds that entry, everything is rebuilt.
Tables here: entries (with the leaf of each, and the root of the tree up to it), deposits, sources, records
(identities, hashes, what dedup decided; amendments applied), amendments, jobs (facts, the last stated holds), holds,
mappings (that read deposits, or were confirmed), gone (files that were redacted; parts: how many files of the zip
alone went), gone_parts (those), disposals (jobs whose records were disposed of), calibrations (of units), checked
(files whose digests were compared), event_texts (of events, with which can be read), unread_deposits. What finding
needs besides is for catalogue/ to add.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from hashlib import sha256
from pathlib import Path

from archive.store import checked_files, memory, unread, unread_deposits
from archive.store.catalogue import cable_columns, link_labels, standing_columns
from archive.store.records import RECORD_COLUMNS

VERSION = 20
"""Raised whenever the tables change: an older database is then rebuilt."""

_UNREAD = (unread.TABLE, unread_deposits.TABLE)
_TABLES = f"""
CREATE TABLE meta(key TEXT PRIMARY KEY, value);
CREATE TABLE entries(number INTEGER PRIMARY KEY, kind TEXT, at TEXT, by TEXT, sha256 TEXT, leaf BLOB NOT NULL,
    root TEXT NOT NULL);
CREATE TABLE deposits(number INTEGER PRIMARY KEY, deposit TEXT UNIQUE, path TEXT, job_id TEXT, records INTEGER,
    root TEXT, withdrawn INTEGER NOT NULL DEFAULT 0);
CREATE TABLE sources(source_id TEXT, reading TEXT, number INTEGER, records INTEGER, PRIMARY KEY(source_id, reading));
CREATE TABLE records(row INTEGER PRIMARY KEY, deposit TEXT NOT NULL, {", ".join(RECORD_COLUMNS)},
    link_key TEXT, reading TEXT,
    kind TEXT NOT NULL, former INTEGER, withdrawn INTEGER NOT NULL DEFAULT 0, replaced INTEGER NOT NULL DEFAULT 0,
    {cable_columns.COLUMNS}, {standing_columns.COLUMNS});
CREATE TABLE amendments(number INTEGER, row INTEGER, field TEXT, old TEXT, new TEXT, PRIMARY KEY(number, row, field));
CREATE TABLE jobs(job_id TEXT, field TEXT, value TEXT, number INTEGER, PRIMARY KEY(job_id, field));
CREATE TABLE documents(document_id TEXT, number INTEGER, kind TEXT, title TEXT, file_name TEXT, media_type TEXT,
    bytes INTEGER, job_id TEXT, link_label TEXT, serial TEXT, valid_from TEXT, valid_until TEXT, path TEXT,
    PRIMARY KEY(document_id, number, link_label, serial));
CREATE TABLE schedule(schedule_id TEXT, number INTEGER, job_id TEXT, version TEXT, link_label TEXT,
    required_limit TEXT, cable_type TEXT, due_on TEXT, bundle TEXT, comment TEXT, building TEXT, floor TEXT, space TEXT,
    panel TEXT, port TEXT, whole INTEGER, PRIMARY KEY(schedule_id, number));
CREATE INDEX schedule_job ON schedule(job_id, number);
CREATE TABLE originals(sha256 TEXT PRIMARY KEY, deposit TEXT);
CREATE TABLE mappings(sha256 TEXT, number INTEGER, path TEXT, how TEXT, PRIMARY KEY(number, sha256));
CREATE TABLE settled_aside(item TEXT PRIMARY KEY, number INTEGER);
CREATE TABLE schemas(sha256 TEXT PRIMARY KEY, number INTEGER);
CREATE TABLE acceptances(job_id TEXT, day TEXT, number INTEGER PRIMARY KEY);
CREATE TABLE accepted_records(row INTEGER PRIMARY KEY, number INTEGER);
CREATE TABLE identities(number INTEGER, first INTEGER, second INTEGER, same INTEGER,
    PRIMARY KEY(number, first, second));
CREATE TABLE case_steps(number INTEGER PRIMARY KEY, case_id TEXT NOT NULL, action TEXT NOT NULL, path TEXT NOT NULL,
    address TEXT, row INTEGER, day TEXT, name TEXT, link_label TEXT, job_id TEXT, site TEXT, text TEXT, decision TEXT,
    cause TEXT, cost TEXT, currency TEXT);
CREATE TABLE holds(job_id TEXT PRIMARY KEY, number INTEGER);
CREATE TABLE gone(path TEXT PRIMARY KEY, sha256 TEXT, replacement TEXT, replacement_sha256 TEXT, number INTEGER,
    parts INTEGER NOT NULL);
CREATE TABLE disposal_proposals(number INTEGER PRIMARY KEY, id TEXT, job_id TEXT, deposits TEXT NOT NULL);
CREATE TABLE disposals(number INTEGER PRIMARY KEY, job_id TEXT, proposal TEXT, records INTEGER);
CREATE TABLE calibrations(number INTEGER, serial TEXT, maker TEXT, model TEXT, calibrated_on TEXT, valid_until TEXT,
    certificate TEXT, laboratory TEXT);
CREATE TABLE gone_parts(path TEXT, sha256 TEXT, PRIMARY KEY(path, sha256));
CREATE UNIQUE INDEX records_place ON records(deposit, position);
CREATE INDEX records_id ON records(record_id);
CREATE INDEX records_content ON records(content);
CREATE INDEX records_curves ON records(curves) WHERE curves IS NOT NULL;
CREATE INDEX records_link ON records(link_key);
CREATE INDEX records_source ON records(source_id, source_place);
CREATE INDEX records_former ON records(former) WHERE former IS NOT NULL;
"""


def connect(archive_id: str, address: str = "") -> sqlite3.Connection:
    """The database, made where it is not there; in memory where this user has no cache folder to write to.

    address: of an archive on an object store, which has a database of its own: a copy of it on a disk has other marks
    of files that were checked."""
    name = f"index-{sha256(address.encode()).hexdigest()[:12]}.sqlite" if address else "index.sqlite"
    place = memory.folder(archive_id)
    if place is None:
        return in_memory()
    try:
        return ready(_open(place / name))
    except sqlite3.OperationalError:  # no room, or no right to write
        return in_memory()
    except sqlite3.DatabaseError:  # damaged
        forget(archive_id)
        return ready(_open(place / name))


def in_memory() -> sqlite3.Connection:
    """An empty database that lasts as long as the program."""
    return ready(sqlite3.connect(":memory:", isolation_level=None))


def forget(archive_id: str) -> None:
    """Deletes the database, wherever archives of that id lie."""
    place = memory.folder(archive_id)
    if place is not None:
        for path in (*place.glob("index.sqlite*"), *place.glob("index-*.sqlite*")):
            path.unlink(missing_ok=True)


def _open(path: Path) -> sqlite3.Connection:
    db = sqlite3.connect(path, timeout=120, isolation_level=None)
    db.execute("PRAGMA journal_mode=WAL")
    db.execute("PRAGMA synchronous=NORMAL")
    return db


def ready(db: sqlite3.Connection) -> sqlite3.Connection:
    """A connection with its tables in place."""
    db.row_factory = sqlite3.Row
    if version(db) != VERSION:
        with writing(db):
            if version(db) != VERSION:
                empty(db)
    return db


def version(db: sqlite3.Connection) -> int:
    """Version of the tables in a database; 0 where there are none."""
    there = db.execute("SELECT 1 FROM sqlite_master WHERE name = 'meta'").fetchone()
    found = db.execute("SELECT value FROM meta WHERE key = 'version'").fetchone() if there else None
    return int(found[0]) if found else 0


def empty(db: sqlite3.Connection) -> None:
    """Drops every table and creates them again, inside the caller's transaction."""
    there = (
        "SELECT name FROM sqlite_master WHERE type = 'table' AND name NOT LIKE 'sqlite_%' AND name NOT LIKE 'words_%' "
        "AND name NOT LIKE 'label_grams_%' AND name NOT LIKE 'letter_grams_%'"
    )
    for (name,) in db.execute(there).fetchall():
        db.execute(f'DROP TABLE IF EXISTS "{name}"')
    for statement in _TABLES.split(";"):
        if statement.strip():
            db.execute(statement)
    added = (standing_columns.STATEMENTS, link_labels.STATEMENTS, cable_columns.STATEMENTS, checked_files.TABLES)
    for statement in (*(each for some in added for each in some), *_UNREAD):
        db.execute(statement)
    db.executemany("INSERT INTO meta VALUES(?, ?)", [("version", VERSION), ("next", 0), ("last", "")])


@contextmanager
def writing(db: sqlite3.Connection) -> Iterator[None]:
    """One transaction that no other process writes beside."""
    db.execute("BEGIN IMMEDIATE")
    try:
        yield
        db.execute("COMMIT")
    except BaseException:
        if db.in_transaction:
            with suppress(sqlite3.OperationalError):
                db.execute("ROLLBACK")
        raise
