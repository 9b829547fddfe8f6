"""Deposits of which a file that the catalogue is built from is missing or damaged, each noted with that file.

Where the catalogue was built before, it holds what the deposit said then (applied), and answers about its jobs are
refused until the file is back. Where it is built anew the deposit is passed over, whole: its records keep their rows
free, so that those of all others are the same.
"""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Iterable, Iterator, Mapping
from pathlib import Path
from typing import Any

from archive.store import files
from archive.store.ledger import LedgerEntry
from archive.store.unread import Unread

TABLE = (
    "CREATE TABLE unread_deposits(number INTEGER PRIMARY KEY, path TEXT NOT NULL, sha256 TEXT NOT NULL, "
    "applied INTEGER NOT NULL, jobs TEXT NOT NULL)"
)
"""path, sha256: the file, and the digest that it must have; empty where a manifest does not say. jobs: JSON, those that
the deposit is known to speak of."""


def put(db: sqlite3.Connection, entry: LedgerEntry, path: str, sha256: str) -> None:
    """Notes a deposit that the catalogue passes over."""
    jobs = json.dumps([entry.get("job")])
    db.execute("INSERT OR REPLACE INTO unread_deposits VALUES(?, ?, ?, 0, ?)", (entry.number, path, sha256, jobs))


def lost(db: sqlite3.Connection, path: str, sha256: str) -> bool:
    """Notes that a file of a deposit, or what replaced one, is not sound any more; False where it is none of one."""
    replaced = db.execute("SELECT path FROM gone WHERE replacement = ?", (path,)).fetchone()
    folder = "/".join((path if replaced is None else replaced[0]).split("/")[:3])
    found = db.execute("SELECT number, deposit, job_id FROM deposits WHERE path = ?", (folder,)).fetchone()
    if found is None:
        return False
    held = db.execute("SELECT DISTINCT job_id FROM records WHERE deposit = ?", (found["deposit"],))
    jobs = list(dict.fromkeys([found["job_id"], *(r[0] for r in held)]))
    db.execute(
        "INSERT OR IGNORE INTO unread_deposits VALUES(?, ?, ?, 1, ?)",
        (found["number"], path, sha256, json.dumps(jobs)),
    )
    return True


def moved(db: sqlite3.Connection, changes: Iterable[Mapping[str, Any]]) -> None:
    """Notes the jobs to which corrections move records of deposits that are passed over."""
    to: dict[str, list[str | None]] = {}
    for change in changes:
        if change["field"] == "job_id":
            to.setdefault(change["record"].rpartition("/")[0], []).append(change["new"])
    for number, deposit, jobs in db.execute(
        "SELECT u.number, d.deposit, u.jobs FROM unread_deposits u JOIN deposits d ON d.number = u.number"
    ).fetchall():
        if deposit in to:
            known = json.dumps(list(dict.fromkeys([*json.loads(jobs), *to[deposit]])))
            db.execute("UPDATE unread_deposits SET jobs = ? WHERE number = ?", (known, number))


def look_again(db: sqlite3.Connection, root: Path) -> bool:
    """Takes out those whose file is sound again; True where one was passed over: the catalogue must be rebuilt, and it
    stays noted until that is done."""
    rebuild = False
    for number, path, sha256, applied in db.execute(
        "SELECT number, path, sha256, applied FROM unread_deposits"
    ).fetchall():
        if files.holds(root / path, sha256):
            if applied:
                db.execute("DELETE FROM unread_deposits WHERE number = ?", (number,))
            rebuild = rebuild or not applied
    return rebuild


def unread_deposits(db: sqlite3.Connection) -> Iterator[Unread]:
    """All of them, by ledger number."""
    for number, path, applied, jobs, deposit, records in db.execute(
        "SELECT u.number, u.path, u.applied, u.jobs, d.deposit, d.records FROM unread_deposits u "
        "JOIN deposits d ON d.number = u.number ORDER BY u.number"
    ).fetchall():
        holds = f"deposit {deposit}, {records} record{'s' * (records != 1)}"
        yield Unread(number, holds, path, frozenset(json.loads(jobs)), deposit, bool(applied))


def hides_records(db: sqlite3.Connection) -> Unread | None:
    """The first deposit with records that is passed over and was not withdrawn as a whole; None where there is none:
    whether a record is here already, or a label known, cannot be said meanwhile."""
    given_up = {r[0] for r in db.execute("SELECT number FROM deposits WHERE withdrawn OR NOT records")}
    return next((u for u in unread_deposits(db) if not u.applied and u.number not in given_up), None)
