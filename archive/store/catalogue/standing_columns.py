"""Which record stands, and under what a label is found: worked out for every link that something changed for.

A record's `standing` is null while it is to be worked out. Inserted rows start so; a trigger sets it back whenever
something that standing rests on is corrected. What stands is for store.standing to say.
"""

from __future__ import annotations

import re
import sqlite3
import unicodedata
from collections.abc import Mapping, Sequence
from itertools import groupby
from typing import Any

from archive.store.standing import states

COLUMNS = "folded TEXT, standing INTEGER, unit INTEGER, first INTEGER"
"""unit, first: see standing.State; unit is null where a record does not count."""
NEEDED = (
    "row",
    "link_key",
    "record_id",
    "kind",
    "former",
    "withdrawn",
    "replaced",
    "evidence",
    "points",
    "step",
    "verdict",
    "covers_from_mhz",
    "configuration",
    "limit_id",
    "tested_local",
    "tested_at",
)
"""Columns that standing.states needs."""
STATEMENTS = (
    "CREATE INDEX records_unsettled ON records(link_key) WHERE standing IS NULL",
    "CREATE INDEX records_unit ON records(unit) WHERE unit != row",
    "CREATE TABLE counting_changed(block INTEGER PRIMARY KEY, number INTEGER)",
    "CREATE INDEX records_folded ON records(folded)",
    "CREATE INDEX records_label ON records(link_label)",
    "CREATE INDEX records_job ON records(job_id, link_label)",
    "CREATE INDEX records_serial ON records(local_serial)",
    "CREATE INDEX records_far_serial ON records(remote_serial) WHERE remote_serial IS NOT local_serial",
    "CREATE VIRTUAL TABLE words USING fts5(label, job, site, cable, lim, serials, more, columnsize=0, prefix='2 3')",
    "CREATE TRIGGER records_corrected AFTER UPDATE OF withdrawn, replaced, kind, former, link_key, link_label, job_id, "
    "site, cable_type, configuration, tested_local ON records BEGIN "
    "UPDATE records SET standing = NULL WHERE link_key = OLD.link_key OR row = NEW.row; END",
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


def refresh(db: sqlite3.Connection) -> None:
    """Works out everything that is null; inside the caller's transaction."""
    if db.execute("SELECT 1 FROM records WHERE standing IS NULL LIMIT 1").fetchone() is None:
        return
    functions(db)
    db.execute("DROP TABLE IF EXISTS temp.touched")
    db.execute("CREATE TEMP TABLE touched(row INTEGER PRIMARY KEY, link_key TEXT)")
    db.execute(
        "INSERT INTO temp.touched SELECT row, link_key FROM records WHERE standing IS NULL "
        "UNION SELECT r.row, r.link_key FROM records r WHERE r.link_key IN "
        "(SELECT link_key FROM records WHERE standing IS NULL AND link_key IS NOT NULL)"
    )
    db.execute("DELETE FROM words WHERE rowid IN (SELECT row FROM temp.touched)")
    db.execute(
        "INSERT INTO words(rowid, label, job, site, cable, lim, serials, more) "
        "SELECT row, link_label, job_id, site, cable_type, limit_found, "
        "coalesce(local_serial, '') || ' ' || coalesce(remote_serial, ''), coalesce(source_place, '') "
        "FROM records WHERE row IN (SELECT row FROM temp.touched)"
    )
    db.execute(
        "UPDATE records SET folded = fold(link_label), standing = 0, unit = NULL, first = 0 "
        "WHERE row IN (SELECT row FROM temp.touched)"
    )
    db.execute(
        f"INSERT OR REPLACE INTO counting_changed SELECT DISTINCT row >> {BLOCK_BITS}, "
        "(SELECT value FROM meta WHERE key = 'next') FROM temp.touched"
    )
    # A link with one test that nothing speaks against needs no thought; they are most.
    db.execute(
        "UPDATE records SET standing = 1, unit = row, first = 1 "
        "WHERE kind = 'new' AND withdrawn = 0 AND replaced = 0 AND row IN "
        "(SELECT min(row) FROM temp.touched GROUP BY coalesce(link_key, 'row ' || row) HAVING count(*) = 1)"
    )
    several = db.execute(
        f"SELECT coalesce(r.link_key, 'row ' || r.row) AS link, {', '.join('r.' + c for c in NEEDED)} FROM records r "
        "JOIN temp.touched t ON t.row = r.row WHERE NOT r.standing ORDER BY link, r.row"
    )
    live: list[tuple[bool, int | None, bool, int]] = []
    for _, members in groupby(several, key=lambda r: r["link"]):
        found = states(with_formers(db, list(members)))
        live.extend((s.standing, s.unit, s.first, row) for row, s in found.items() if s.live)
    # The row itself may be the former of another link's record, looked at for its sake alone.
    db.executemany(
        "UPDATE records SET standing = ?, unit = ?, first = ? WHERE row = ? AND row IN (SELECT row FROM temp.touched)",
        live,
    )
    db.execute("DROP TABLE temp.touched")


def with_formers(db: sqlite3.Connection, rows: Sequence[Any]) -> list[Mapping[str, Any]]:
    """Rows of one link, and those of other links that a relabelled or copied one refers to."""
    found: list[Mapping[str, Any]] = [dict(r) for r in rows]
    there = {r["row"] for r in rows}
    wanted = sorted({r["former"] for r in rows if r["former"] is not None} - there)
    if not wanted:
        return found
    marks = ", ".join("?" * len(wanted))
    more = db.execute(f"SELECT {', '.join(NEEDED)} FROM records WHERE row IN ({marks})", wanted)
    return [*found, *(dict(r) for r in more)]
