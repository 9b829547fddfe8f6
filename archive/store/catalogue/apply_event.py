"""What events change in the database: corrections, withdrawals, holds, redactions, facts of jobs."""

from __future__ import annotations

import json
import sqlite3
from contextlib import suppress
from typing import TYPE_CHECKING, Any

from archive.errors import Trouble
from archive.store import unread, unread_deposits
from archive.store.catalogue import cable_columns, standing_columns
from archive.store.checked_files import CheckedFiles
from archive.store.ledger import LedgerEntry
from archive.store.mapping_use import FILE, how_used
from archive.store.records import DECLARED_WHOLE, WHOLE, link_key, split_address

if TYPE_CHECKING:
    from archive.store.parquet import BagTables

JOB_FACTS = (
    "name",
    "client",
    "site",
    "zone",
    "contractor",
    "crew",
    "required_limit",
    "work_start",
    "work_end",
    "cable",
    "warranty_start",
    "warranty_end",
    "retain_until",
    "comment",
)

DISPOSAL_PROPOSED, DISPOSAL = "disposal proposed", "disposal"
"""Events of a disposal: somebody names a job's records for it, and somebody else does."""

CALIBRATION = ("serial", "maker", "model", "calibrated_on", "valid_until", "certificate", "laboratory")
"""Columns of a calibration that the catalogue holds."""

CASE_TEXTS = ("day", "name", "link_label", "job_id", "site", "text", "decision", "cause", "cost", "currency")
"""What a step of a case may state."""

DOCUMENT = (
    "kind",
    "title",
    "file_name",
    "media_type",
    "bytes",
    "job_id",
    "link_label",
    "serial",
    "valid_from",
    "valid_until",
)
"""Columns of a document that the catalogue holds, besides its id and its place."""


def event(db: sqlite3.Connection, files: CheckedFiles, entry: LedgerEntry) -> None:
    """What one event changes. An event of a kind that is not known here changes nothing."""
    kind = entry["event"]
    texts = _texts(db, files, entry) if kind in unread.RESTED_ON else {}
    if kind == "withdraw":
        _withdraw(db, entry)
    elif kind == "amend":
        _amend(db, entry.number, texts.get("changes", []))
        unread_deposits.moved(db, texts.get("changes", []))
    elif kind == "hold":
        db.execute("INSERT OR IGNORE INTO holds VALUES(?, ?)", (entry["job"], entry.number))
    elif kind == "release":
        db.execute("DELETE FROM holds WHERE job_id = ?", (entry["job"],))
    elif kind == "job":
        job_facts(db, entry["job"], texts.get("facts", {}), entry.number)
        cable_columns.fill(db, [entry["job"]])
    elif kind == "accept":
        _accept(db, entry)
    elif kind == "identity":
        _identity(db, entry)
    elif kind == "attach":
        filed(db, texts.get("documents", []), entry.number)
    elif kind == "setaside":
        rows = [(item, entry.number) for item in entry.get("items", [])]
        db.executemany("INSERT OR IGNORE INTO settled_aside VALUES(?, ?)", rows)
    elif kind == "mapping":
        path = f"events/{entry['id']}/{FILE}"
        db.execute(
            "INSERT OR REPLACE INTO mappings VALUES(?, ?, ?, ?)", (entry["mapping"], entry.number, path, entry["how"])
        )
    elif kind == "case":
        _case(db, entry, texts)
    elif kind in (DISPOSAL_PROPOSED, DISPOSAL, "calibrations"):
        _noted(db, entry, texts)
    elif kind == "cables":
        cable_columns.settle(db, entry.number, texts.get("settled", []), merged=bool(entry.get("from")))


def _noted(db: sqlite3.Connection, entry: LedgerEntry, texts: dict[str, Any]) -> None:
    """What changes no record: steps of a disposal (its files are gone already), and calibrations of units."""
    if entry["event"] == DISPOSAL_PROPOSED:
        proposed = (entry.number, entry["id"], entry["job"], json.dumps(entry["deposits"]))
        db.execute("INSERT INTO disposal_proposals VALUES(?, ?, ?, ?)", proposed)
    elif entry["event"] == DISPOSAL:
        row = (entry.number, entry["job"], entry["proposal"], entry["count"])
        db.execute("INSERT INTO disposals VALUES(?, ?, ?, ?)", row)
    else:
        listed = [(entry.number, *(row.get(name) for name in CALIBRATION)) for row in texts.get("calibrations", [])]
        db.executemany(f"INSERT INTO calibrations VALUES({', '.join('?' * 8)})", listed)


def _texts(db: sqlite3.Connection, files: CheckedFiles, entry: LedgerEntry) -> dict[str, Any]:
    """What the text of an event says; nothing where it was redacted, or cannot be read, which is noted."""
    path = f"events/{entry['id']}/event.json"
    digests = {name: str(said["sha256"]) for name, said in entry.files.items()}
    found = files.current(path, digests[path]) if path in digests else None
    if found is None:
        return {}
    texts: dict[str, Any] | None = None
    with suppress(Trouble):
        texts = files.json(path, digests, always=True) or {}
    unread.put(db, entry.number, *found, sound=texts is not None)
    return texts or {}


def redaction(db: sqlite3.Connection, files: CheckedFiles, entry: LedgerEntry) -> None:
    """Files that an entry says are gone, with what replaced each."""
    for g in entry.get("gone", []):
        new = f"events/{entry['id']}/{g['replacement']}" if g["replacement"] else None
        digest = entry.files[new]["sha256"] if new else None
        parts = [(g["path"], part["sha256"]) for part in g.get("members", [])]
        row = (g["path"], g["sha256"], new, digest, entry.number, len(parts))
        db.execute("INSERT OR REPLACE INTO gone VALUES(?, ?, ?, ?, ?, ?)", row)
        # a zip that stands by itself is a file as received, too, and is another one now
        db.executemany("INSERT OR REPLACE INTO gone_parts VALUES(?, ?)", [*parts, row[:2]] if parts else [])
        files.forget(g["path"])


def deposit_texts(db: sqlite3.Connection, files: CheckedFiles, entry: LedgerEntry, digests: dict[str, str]) -> None:
    """What came with a deposit besides records: files as received, facts of jobs, documents, schedules.

    digests: SHA-256 of the files of its bag by path in the archive.
    """
    said = files.json(f"{entry['path']}/data/deposit.json", digests, always=True) or {}
    rows = [(o["sha256"], entry["deposit"]) for o in said.get("originals", []) if "kept_in" not in o]
    db.executemany("INSERT OR REPLACE INTO originals VALUES(?, ?)", rows)
    _mappings(db, entry, digests)
    tables = files.tables(entry["path"], digests, always=True)
    for row in tables.table("jobs").to_pylist():
        job_facts(db, row["job_id"], row, entry.number)
    filed(db, tables.table("documents").to_pylist(), entry.number)
    lines = scheduled(db, tables, entry)
    cable_columns.of_deposit(db, entry["deposit"], lines)


def _mappings(db: sqlite3.Connection, entry: LedgerEntry, digests: dict[str, str]) -> None:
    """Mappings in a deposit's bag, each with how it came to be used."""
    before = f"{entry['path']}/data/mappings/"
    kept = {path: digest for path, digest in digests.items() if path.startswith(before)}
    rows = [
        (digest, entry.number, path, how_used(path.removeprefix(before), digest, entry.get("mappings") or {}))
        for path, digest in kept.items()
    ]
    db.executemany("INSERT OR REPLACE INTO mappings VALUES(?, ?, ?, ?)", rows)


def scheduled(db: sqlite3.Connection, tables: BagTables, entry: LedgerEntry) -> set[str | None]:
    """Lines of a schedule that came with a deposit, with the place of the local end. Gives the jobs they are of."""
    rows = tables.table("schedule").to_pylist()
    if not rows:
        return set()
    by_id = {p["place_id"]: p for p in tables.table("places").to_pylist()}
    made = []
    for r in rows:
        place = by_id.get(r["local_place_id"]) or {}
        made.append(
            (
                r["schedule_id"],
                entry.number,
                r["job_id"] or entry.get("job"),
                *(
                    r[c]
                    for c in ("version", "link_label", "required_limit", "cable_type", "due_on", "bundle", "comment")
                ),
                *(place.get(c) for c in ("building", "floor", "space", "panel", "port")),
                {WHOLE: 1, DECLARED_WHOLE: 2}.get(entry.get("schedule") or "", 0),
            )
        )
    db.executemany(f"INSERT OR REPLACE INTO schedule VALUES({', '.join('?' * 16)})", made)
    return {line[2] for line in made}


def filed(db: sqlite3.Connection, documents: list[dict[str, Any]], number: int) -> None:
    """Documents that an entry files. path: where their bytes are, for those filed by `attach`."""
    rows = [(d["document_id"], number, *(d.get(c) for c in DOCUMENT), d.get("path")) for d in documents]
    db.executemany(f"INSERT OR REPLACE INTO documents VALUES({', '.join('?' * 13)})", rows)


def job_facts(db: sqlite3.Connection, job: str, facts: dict[str, Any], number: int) -> None:
    """Facts of a job; what is null says nothing, what is stated later holds."""
    rows = [(job, f, facts[f], number) for f in JOB_FACTS if facts.get(f) is not None]
    db.executemany("INSERT OR REPLACE INTO jobs VALUES(?, ?, ?, ?)", rows)
    if any(facts.get(f) is not None for f in ("warranty_start", "required_limit")):
        standing_columns.unsettle_job(db, job)


def row_of(db: sqlite3.Connection, address: str) -> int | None:
    """Row of a record by its address "deposit/position"; None where there is none."""
    found = db.execute("SELECT row FROM records WHERE deposit = ? AND position = ?", split_address(address)).fetchone()
    return None if found is None else int(found[0])


def _withdraw(db: sqlite3.Connection, entry: LedgerEntry) -> None:
    for deposit in entry.get("deposits", []):
        db.execute("UPDATE deposits SET withdrawn = 1 WHERE deposit = ?", (deposit,))
        db.execute("UPDATE records SET withdrawn = 1 WHERE deposit = ?", (deposit,))
    gone = [(row_of(db, address),) for address in entry.get("records", [])]
    db.executemany("UPDATE records SET withdrawn = 1 WHERE row = ?", gone)


def _accept(db: sqlite3.Connection, entry: LedgerEntry) -> None:
    """A job accepted as it stood on a day, or records named as accepted."""
    if entry.get("job") is not None:
        db.execute("INSERT INTO acceptances VALUES(?, ?, ?)", (entry["job"], entry["on"], entry.number))
        standing_columns.unsettle_job(db, entry["job"])
    rows = [row for address in entry.get("records", []) if (row := row_of(db, address)) is not None]
    db.executemany("INSERT OR REPLACE INTO accepted_records VALUES(?, ?)", [(row, entry.number) for row in rows])
    standing_columns.unsettle_rows(db, rows)


def _identity(db: sqlite3.Connection, entry: LedgerEntry) -> None:
    """A person's word that records are of the same link, or of different ones."""
    for pair in entry["pairs"]:
        first, second = (row_of(db, address) for address in pair)
        if first is not None and second is not None:
            db.execute(
                "INSERT OR REPLACE INTO identities VALUES(?, ?, ?, ?)", (entry.number, first, second, entry["same"])
            )
            standing_columns.unsettle_rows(db, [first, second])


def _case(db: sqlite3.Connection, entry: LedgerEntry, texts: dict[str, Any]) -> None:
    """A step of a case; where its text was redacted, that there was one."""
    address = next(iter(entry.get("records", [])), None)
    said = [texts.get(name) for name in CASE_TEXTS]
    place = f"events/{entry['id']}/event.json"
    first = [entry.number, entry.get("case") or entry["id"], entry["action"], place, address]
    row = None if address is None else row_of(db, address)
    db.execute(f"INSERT OR REPLACE INTO case_steps VALUES({', '.join('?' * 16)})", [*first, row, *said])


def _amend(db: sqlite3.Connection, number: int, changes: list[dict[str, Any]]) -> None:
    known = {r[1] for r in db.execute("PRAGMA table_info(records)")}
    typed, moved = [], set[str | None]()
    for c in changes:
        row = row_of(db, c["record"])
        if row is None:
            continue
        db.execute(
            "INSERT OR REPLACE INTO amendments VALUES(?, ?, ?, ?, ?)", (number, row, c["field"], c["old"], c["new"])
        )
        if c["field"] in known:
            db.execute(f'UPDATE records SET "{c["field"]}" = ? WHERE row = ?', (c["new"], row))
        names = db.execute("SELECT site, job_id, link_label FROM records WHERE row = ?", (row,)).fetchone()
        db.execute("UPDATE records SET link_key = ? WHERE row = ?", (link_key(*names), row))
        if c["field"] == "cable_type":
            typed.append(row)
        elif c["field"] in ("job_id", "link_label"):
            moved.add(names["job_id"])
    cable_columns.amended(db, typed, moved)
