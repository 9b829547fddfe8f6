"""Which link a record is of, which roles it has, and under what a label is found: for every link that changed.

A record's `current` is null while that is to be worked out. Inserted rows start so; a trigger sets it back whenever
something that roles or identity rest on is corrected. store.identity and store.roles decide.
"""

from __future__ import annotations

import re
import sqlite3
import unicodedata
from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from itertools import groupby
from typing import Any

from archive.store import identity, roles
from archive.store.catalogue import link_labels
from archive.store.identity import Decision
from archive.store.roles import Acceptance, Family, RecordState

COLUMNS = (
    "folded TEXT, link TEXT, doubt TEXT, current INTEGER, accepted INTEGER, unit INTEGER, accepted_unit INTEGER, "
    "first INTEGER, tests INTEGER, lesser_fails INTEGER, conflict INTEGER, copied INTEGER"
)
"""link: link_key, and a number where records of one link_key are of several links. doubt: why that is not sure. The
others: see roles.RecordState; unit is null where a record does not count."""

NEEDED = tuple(dict.fromkeys((*roles.NEEDED, "link_key", "medium", "cable_type", "length_m", *identity.PLACE)))
"""Columns that identity and roles are decided by."""

STATEMENTS = (
    "CREATE INDEX records_conflicts ON records(former) WHERE kind = 'conflicts'",
    "CREATE INDEX records_unsettled ON records(link_key) WHERE current IS NULL",
    "CREATE INDEX records_unit ON records(unit) WHERE unit != row",
    "CREATE INDEX records_doubt ON records(job_id) WHERE doubt IS NOT NULL",
    "CREATE TABLE counting_changed(block INTEGER PRIMARY KEY, number INTEGER)",
    "CREATE INDEX records_folded ON records(folded)",
    "CREATE INDEX records_label ON records(link_label)",
    "CREATE INDEX records_job ON records(job_id, link_label)",
    "CREATE INDEX records_serial ON records(local_serial)",
    "CREATE INDEX records_far_serial ON records(remote_serial) WHERE remote_serial IS NOT local_serial",
    "CREATE VIRTUAL TABLE words USING fts5(label, job, site, cable, lim, serials, more, columnsize=0, prefix='2 3')",
    "CREATE TRIGGER records_corrected AFTER UPDATE OF withdrawn, replaced, kind, former, link_key, link_label, job_id, "
    "site, cable_type, configuration, tested_local, limit_id, building, floor, space ON records BEGIN "
    "UPDATE records SET current = NULL WHERE link_key = OLD.link_key OR row = NEW.row OR former = NEW.row; END",
)

BLOCK_BITS = 16
"""A block of records: those whose rows agree but for these last bits. Counting is brought up to date block by block."""

_RUNS = re.compile(r"\d+")


def fold(label: str | None) -> str | None:
    """A label without what people get wrong: case, blanks, separators, leading zeros, O for 0.

    For matching only; a folded label is never shown or stored as the label.
    """
    if label is None:
        return None
    text = unicodedata.normalize("NFKC", label).casefold().replace("o", "0")
    parts = re.split(r"[^0-9a-z\u0080-\U0010ffff]+", text)
    return "".join(_RUNS.sub(lambda m: m[0].lstrip("0") or "0", p) for p in parts)


def functions(db: sqlite3.Connection) -> None:
    """Makes folding known to SQL on this connection."""
    db.create_function("fold", 1, fold, deterministic=True)


def unsettle_job(db: sqlite3.Connection, job: str) -> None:
    """Has the roles of a job's records worked out again: what it requires, or the day of its acceptance, changed."""
    db.execute(
        "UPDATE records SET current = NULL WHERE link_key IN (SELECT link_key FROM records WHERE job_id = ?1) "
        "OR job_id = ?1",
        (job,),
    )


def unsettle_rows(db: sqlite3.Connection, rows: Iterable[int]) -> None:
    """Has the identity and roles of the links of some records worked out again."""
    db.executemany(
        "UPDATE records SET current = NULL WHERE row = ?1 OR link_key = (SELECT link_key FROM records WHERE row = ?1)",
        [(row,) for row in rows],
    )


def refresh(db: sqlite3.Connection) -> None:
    """Works out everything that is null; inside the caller's transaction."""
    if db.execute("SELECT 1 FROM records WHERE current IS NULL LIMIT 1").fetchone() is None:
        return
    functions(db)
    db.execute("DROP TABLE IF EXISTS temp.touched")
    db.execute("CREATE TEMP TABLE touched(row INTEGER PRIMARY KEY, link_key TEXT)")
    db.execute(
        "INSERT INTO temp.touched SELECT row, link_key FROM records WHERE current IS NULL "
        "UNION SELECT r.row, r.link_key FROM records r WHERE r.link_key IN "
        "(SELECT link_key FROM records WHERE current IS NULL AND link_key IS NOT NULL)"
    )
    _touch_conflicts(db)
    db.execute("DELETE FROM words WHERE rowid IN (SELECT row FROM temp.touched)")
    db.execute(
        "INSERT INTO words(rowid, label, job, site, cable, lim, serials, more) "
        "SELECT row, link_label, job_id, site, cable_type, limit_found, "
        "coalesce(local_serial, '') || ' ' || coalesce(remote_serial, ''), coalesce(source_place, '') "
        "FROM records WHERE row IN (SELECT row FROM temp.touched)"
    )
    db.execute(
        "UPDATE records SET folded = fold(link_label), link = link_key, doubt = NULL, current = 0, accepted = 0, "
        "unit = NULL, accepted_unit = NULL, first = 0, tests = 0, lesser_fails = 0, conflict = 0, copied = 0 "
        "WHERE row IN (SELECT row FROM temp.touched)"
    )
    db.execute(
        f"INSERT OR REPLACE INTO counting_changed SELECT DISTINCT row >> {BLOCK_BITS}, "
        "(SELECT value FROM meta WHERE key = 'next') FROM temp.touched"
    )
    days = acceptances(db)
    _single(db, days)
    several = db.execute(
        f"SELECT coalesce(r.link_key, 'row ' || r.row) AS bucket, {', '.join('r.' + c for c in NEEDED)} FROM records r "
        "JOIN temp.touched t ON t.row = r.row WHERE NOT r.current ORDER BY bucket, r.row"
    )
    decided, named = decisions(db), accepted_rows(db)
    settled: list[tuple[Any, ...]] = []
    for _, members in groupby(several, key=lambda r: r["bucket"]):
        settled.extend(_of_label(db, [dict(r) for r in members], days, decided, named))
    # The row itself may be the former of another link's record, looked at for its sake alone.
    db.executemany(
        "UPDATE records SET link = ?, doubt = ?, current = ?, accepted = ?, unit = ?, accepted_unit = ?, first = ?, "
        "tests = ?, lesser_fails = ?, conflict = ?, copied = ? WHERE row = ? AND row IN (SELECT row FROM temp.touched)",
        settled,
    )
    link_labels.fill(db)
    db.execute("DROP TABLE temp.touched")


def _touch_conflicts(db: sqlite3.Connection) -> None:
    """Adds the links of records that are in conflict with a touched one under another label, or at another site."""
    pairs = "records c JOIN records f ON f.row = c.former AND c.kind = 'conflicts' AND f.link_key IS NOT c.link_key"
    touched = "SELECT row FROM temp.touched"
    while True:
        before = db.total_changes
        for row, key in db.execute(
            f"SELECT f.row, f.link_key FROM {pairs} WHERE c.row IN ({touched}) AND f.row NOT IN ({touched}) "
            f"UNION SELECT c.row, c.link_key FROM {pairs} WHERE f.row IN ({touched}) AND c.row NOT IN ({touched})"
        ).fetchall():
            db.execute(
                "INSERT OR IGNORE INTO temp.touched SELECT row, link_key FROM records WHERE row = ? OR link_key = ?",
                (row, key),
            )
        if db.total_changes == before:
            return


def link_states(db: sqlite3.Connection, rows: Sequence[Mapping[str, Any]]) -> dict[int, RecordState]:
    """State of each of the records of one link, with those of other links that they refer to.

    rows: all records of the link, with the columns of roles.NEEDED.
    """
    return roles.states(with_formers(db, rows), acceptances(db, {r["job_id"] for r in rows}), accepted_rows(db))


def acceptances(db: sqlite3.Connection, jobs: Iterable[str | None] | None = None) -> dict[str | None, Acceptance]:
    """How jobs were accepted: those that state a day, the start of a warranty, or a required limit."""
    found: dict[str | None, dict[str, str]] = defaultdict(dict)
    for job, name, value in db.execute(
        "SELECT job_id, field, value FROM jobs WHERE field IN ('warranty_start', 'required_limit')"
    ):
        found[job][name] = value
    for job, day in db.execute("SELECT job_id, day FROM acceptances ORDER BY number"):
        found[job]["stated"] = day
    wanted = found.keys() if jobs is None else found.keys() & set(jobs)
    return {job: _acceptance(found[job]) for job in wanted}


def accepted_rows(db: sqlite3.Connection) -> dict[int, int]:
    """Rows of records that a person named as accepted, with the number of the ledger entry."""
    return {int(r[0]): int(r[1]) for r in db.execute("SELECT row, number FROM accepted_records")}


def decisions(db: sqlite3.Connection) -> dict[str, list[Decision]]:
    """What persons decided of the identity of links, by link_key; of two records the last decision holds."""
    found: dict[str, dict[tuple[int, int], Decision]] = defaultdict(dict)
    for key, first, second, same in db.execute(
        "SELECT r.link_key, i.first, i.second, i.same FROM identities i JOIN records r ON r.row = i.first "
        "ORDER BY i.number"
    ):
        found[key][min(first, second), max(first, second)] = Decision(first, second, bool(same))
    return {key: list(pairs.values()) for key, pairs in found.items()}


def with_formers(db: sqlite3.Connection, rows: Sequence[Any]) -> list[Mapping[str, Any]]:
    """Rows of one link, those of other links that a relabelled or copied one refers to, and those in conflict."""
    found: list[Mapping[str, Any]] = [dict(r) for r in rows]
    there = {r["row"] for r in rows}
    wanted = sorted({r["former"] for r in rows if r["former"] is not None} - there)
    wanted += [
        int(r[0])
        for at in sorted(there | set(wanted))
        for r in db.execute("SELECT row FROM records WHERE former = ? AND kind = 'conflicts'", (at,))
        if r[0] not in there
    ]
    if not wanted:
        return found
    marks = ", ".join("?" * len(set(wanted)))
    more = db.execute(f"SELECT {', '.join(NEEDED)} FROM records WHERE row IN ({marks})", sorted(set(wanted)))
    return [*found, *(dict(r) for r in more)]


def _single(db: sqlite3.Connection, days: Mapping[str | None, Acceptance]) -> None:
    """A link with one test that nothing speaks against needs no thought; they are most."""
    db.execute("DROP TABLE IF EXISTS temp.days")
    db.execute("CREATE TEMP TABLE days(job_id TEXT PRIMARY KEY, day TEXT)")
    known = [(job, how.day) for job, how in days.items() if how.day is not None]
    db.executemany("INSERT INTO temp.days VALUES(?, ?)", known)
    db.execute(
        "UPDATE records SET current = 1, unit = row, first = 1, tests = 1, "
        "accepted = job_id IS NOT NULL AND coalesce((SELECT coalesce(tested_local, tested_at) IS NOT NULL AND "
        "substr(coalesce(tested_local, tested_at) || '-99-99', 1, 10) <= d.day FROM temp.days d "
        "WHERE d.job_id = records.job_id), 1) OR row IN (SELECT row FROM accepted_records) "
        "WHERE kind = 'new' AND withdrawn = 0 AND replaced = 0 "
        "AND NOT EXISTS (SELECT 1 FROM records c WHERE c.former = records.row AND c.kind = 'conflicts') "
        "AND (evidence != 'verdict-only' OR coalesce("
        "reported_verdict, tested_local, tested_at, nullif(points, 0), length_m) IS NOT NULL) AND row IN "
        "(SELECT min(row) FROM temp.touched GROUP BY coalesce(link_key, 'row ' || row) HAVING count(*) = 1)"
    )
    db.execute(
        "UPDATE records SET accepted_unit = row WHERE accepted AND row IN (SELECT min(row) FROM temp.touched "
        "GROUP BY coalesce(link_key, 'row ' || row) HAVING count(*) = 1)"
    )
    db.execute("DROP TABLE temp.days")


def _of_label(
    db: sqlite3.Connection,
    members: list[dict[str, Any]],
    days: Mapping[str | None, Acceptance],
    decided: Mapping[str, list[Decision]],
    named: Mapping[int, int],
) -> list[tuple[Any, ...]]:
    """What is to be written of all records of one label at one site."""
    key = members[0]["link_key"]
    by_row = {r["row"]: r for r in members}
    sides = identity.sides(members, decided.get(key, ()))
    found: list[tuple[Any, ...]] = []
    for number, side in enumerate(sides):
        link = key if number == 0 else f"{key}\n#{number + 1}"
        rows = [{**by_row[n], "link": link} for n in side.rows]
        states = roles.states(with_formers(db, rows), days, named)
        for n in side.rows:
            s = states[n]
            flags = (s.first, s.tests, s.lesser_fails, s.conflict, s.copied)
            found.append((link, side.doubt or None, s.current, s.accepted, s.unit, s.accepted_unit, *flags, n))
    return found


def _acceptance(facts: Mapping[str, str]) -> Acceptance:
    required = _family(facts["required_limit"]) if "required_limit" in facts else None
    if "stated" in facts:
        return Acceptance(facts["stated"], "stated", required)
    if "warranty_start" in facts:
        return Acceptance(facts["warranty_start"], "start of the warranty", required)
    return Acceptance(family=required)


def _family(words: str) -> Family | None:
    """Configuration and category of a required limit; None where the words name no limit."""
    from archive import limits  # here, so that finding needs no limits
    from archive.limits import fiber

    found = limits.find(words)
    optical = fiber.find(words)
    named = found.limit_id or optical.limit_id or next(iter((*found.candidates, *optical.candidates)), None)
    if named is None or named.count("/") != 2:
        return None
    _, category, configuration = named.split("/")
    whole = found.limit_id is not None  # optical links are of one kind, whatever was inside the test
    return (configuration if whole else None), category
