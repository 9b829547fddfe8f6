"""Which cable type a record counts under, and on what that rests.

A correction of the record itself holds before all else; then what was settled for its words; then the type that it was
archived with. A record that says nothing of its cable takes what was stated for its job: the schedule's word for its
link, or else that of the whole job. What it was archived with stays beside the type that counts.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Iterable, Mapping
from typing import Any

from archive.vocabulary import cables

RULE, RECORD, SETTLED, JOB, AMENDED = "rule", "record", "settled", "job", "amended"
BASES = {
    RULE: "read from the words of the record, or stated with them",
    RECORD: "stated by the record as a type",
    SETTLED: "settled for the words in this archive",
    JOB: "stated for the job",
    AMENDED: "corrected for the record",
}
"""What a type can rest on: `cable_basis`; null where nothing is said."""

COLUMNS = "cable_basis TEXT, cable_archived TEXT"
"""cable_archived: the type that the record was archived with, where another counts by settlement or by its job."""

STATEMENTS = (
    "CREATE TABLE cables(words TEXT, number INTEGER, found TEXT, type TEXT, holds INTEGER, PRIMARY KEY(words, number))",
)
"""cables: what was settled for the words (see cables.folded) by which entry; type null takes it back. holds: 0 where an
archive that was merged settled words that were settled here."""

_OWN = f"CASE WHEN cable_basis IN ('{SETTLED}', '{JOB}') THEN cable_archived ELSE cable_type END"
"""The type that a record was archived with."""


LATER_CABLE = f"cable_basis IN ('{SETTLED}', '{JOB}') AND cable_type IS NOT cable_archived"
"""Records of which another type counts now than the one that they were archived with."""


def basis(cable_found: str | None, cable_type: str | None) -> str | None:
    """What the type of a record rests on as it was archived."""
    if cable_found:
        return RULE
    return RECORD if cable_type and cable_type != cables.UNKNOWN else None


def of_deposit(db: sqlite3.Connection, deposit: str, jobs: Iterable[str | None]) -> None:
    """Types of the records of a deposit that was just taken in, and of jobs that it states something of."""
    if db.execute("SELECT 1 FROM cables LIMIT 1").fetchone() is not None:
        words = db.execute(
            "SELECT DISTINCT cable_found FROM records WHERE deposit = ? AND cable_found IS NOT NULL", (deposit,)
        )
        settled = {found: t for found, t in _types(db, words) if t is not None}
        _settle(db, settled, "AND deposit = ?", (deposit,))
    here = db.execute("SELECT DISTINCT job_id FROM records WHERE deposit = ?", (deposit,))
    fill(db, {*jobs, *(r[0] for r in here)})


def settle(db: sqlite3.Connection, number: int, settled: Iterable[Mapping[str, Any]], *, merged: bool) -> None:
    """What an event says of words; rows "words" and "type", where no type takes a settlement back.

    merged: the event is of another archive that was joined to this one; what was settled here before holds.
    """
    changed = set()
    for row in settled:
        words = cables.folded(row["words"])
        known = db.execute("SELECT 1 FROM cables WHERE words = ? AND holds", (words,)).fetchone() is not None
        holds = not (merged and known)
        db.execute(
            "INSERT OR REPLACE INTO cables VALUES(?, ?, ?, ?, ?)", (words, number, row["words"], row["type"], holds)
        )
        changed.add(words) if holds else None
    every = db.execute("SELECT DISTINCT cable_found FROM records WHERE cable_found IS NOT NULL").fetchall()
    touched = [r for r in every if cables.folded(r[0]) in changed]
    _settle(db, dict(_types(db, touched)), "", ())


def fill(db: sqlite3.Connection, jobs: Iterable[str | None]) -> None:
    """Types of the records of jobs that say nothing of their cable themselves."""
    for job in sorted({j for j in jobs if j is not None}):
        stated = db.execute("SELECT value FROM jobs WHERE job_id = ? AND field = 'cable'", (job,)).fetchone()
        by_label = dict(
            db.execute(
                # A label that is scheduled at several places with several types says nothing of any one of them.
                "SELECT link_label, CASE count(DISTINCT cable_type) WHEN 1 THEN max(cable_type) END FROM schedule "
                "WHERE job_id = ? AND cable_type IS NOT NULL AND cable_type != 'unknown' "
                "GROUP BY number, link_label ORDER BY number",
                (job,),
            ).fetchall()
        )
        whole = stated[0] if stated else None
        silent = db.execute(
            f"SELECT row, link_label, cable_type, {_OWN} AS own FROM records WHERE job_id = ? "
            f"AND (cable_basis IS NULL OR cable_basis = '{JOB}')",
            (job,),
        ).fetchall()
        changes = []
        for row, label, now, own in silent:
            new = by_label.get(label, whole)
            if (new or own) != now:
                changes.append((new or own, JOB if new else None, own if new else None, row))
        db.executemany("UPDATE records SET cable_type = ?, cable_basis = ?, cable_archived = ? WHERE row = ?", changes)


def amended(db: sqlite3.Connection, rows: Iterable[int], jobs: Iterable[str | None]) -> None:
    """Records whose own type was corrected; and jobs that records moved to, or in which a label changed."""
    db.executemany(f"UPDATE records SET cable_basis = '{AMENDED}' WHERE row = ?", [(r,) for r in rows])
    fill(db, jobs)


def _types(db: sqlite3.Connection, found: Iterable[Any]) -> list[tuple[str, str | None]]:
    """Words as found, and the type that was settled for them last; None where that was taken back."""
    last = dict(db.execute("SELECT words, type FROM cables WHERE holds ORDER BY number").fetchall())
    return [(r[0], last[key]) for r in found if (key := cables.folded(r[0])) in last]


def _settle(db: sqlite3.Connection, types: Mapping[str, str | None], where: str, values: tuple[Any, ...]) -> None:
    """Sets the types of the records of words as found, in one pass; records that were corrected keep theirs."""
    if not types:
        return
    db.execute("DROP TABLE IF EXISTS temp.settled")
    db.execute("CREATE TEMP TABLE settled(found TEXT PRIMARY KEY, type TEXT)")
    db.executemany("INSERT INTO temp.settled VALUES(?, ?)", types.items())
    type_of = "(SELECT type FROM temp.settled WHERE found = cable_found)"
    db.execute(
        f"UPDATE records SET cable_archived = CASE WHEN {type_of} IS NULL THEN NULL ELSE {_OWN} END, "
        f"cable_type = coalesce({type_of}, {_OWN}), "
        f"cable_basis = CASE WHEN {type_of} IS NULL THEN '{RULE}' ELSE '{SETTLED}' END "
        f"WHERE cable_found IN (SELECT found FROM temp.settled) AND cable_basis IS NOT '{AMENDED}' {where}",
        values,
    )
    db.execute("DROP TABLE temp.settled")
