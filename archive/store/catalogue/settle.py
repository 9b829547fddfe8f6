"""Which record stands, and under what a label is found: worked out for every link that something changed for.

A record's `standing` is null while it is to be worked out. Inserted rows start so; a trigger sets it back whenever
something that standing rests on is corrected. Per link, configuration and limit family the record stands that is the
latest complete test by test time, neither withdrawn, nor replaced by a better reading, nor in conflict. Partial
evidence never displaces a full sweep.
"""

from __future__ import annotations

import re
import sqlite3
import unicodedata

COLUMNS = "folded TEXT, family TEXT, standing INTEGER"
STATEMENTS = (
    "CREATE INDEX records_unsettled ON records(link_key) WHERE standing IS NULL",
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

_RUNS = re.compile(r"\d+")
_OUT = ("same_file", "same_content", "relabelled")


def fold(label: str | None) -> str | None:
    """A label without what people get wrong: case, blanks, separators, leading zeros, O for 0.

    For matching only; a folded label is never shown or stored as the label.
    """
    if label is None:
        return None
    text = unicodedata.normalize("NFKC", label).casefold().replace("o", "0")
    parts = re.split(r"[^0-9a-z\u0080-\U0010ffff]+", text)
    return "".join(_RUNS.sub(lambda m: m[0].lstrip("0") or "0", p) for p in parts)


def limit_family(limit_id: str | None, limit_found: str | None, configuration: str | None) -> str:
    """What the editions of one limit have in common: tia cat6a channel. Unresolved words are a family of their own."""
    parts = (limit_id or "").split("/")
    if len(parts) < 2:
        return f"? {' '.join((limit_found or '').casefold().split())} {configuration or ''}".strip()
    body = parts[0].split("-")[0]
    body = {"tsb": "tia", "en": "iso"}.get(body, body)
    return " ".join([body, *(p.removesuffix("-2").removesuffix("-3") for p in parts[1:])])


def functions(db: sqlite3.Connection) -> None:
    """Makes folding and the limit family known to SQL on this connection."""
    db.create_function("fold", 1, fold, deterministic=True)
    db.create_function("limit_family", 3, limit_family, deterministic=True)


def refresh(db: sqlite3.Connection) -> None:
    """Works out everything that is null; inside the caller's transaction."""
    if db.execute("SELECT 1 FROM records WHERE standing IS NULL LIMIT 1").fetchone() is None:
        return
    functions(db)
    db.execute("DROP TABLE IF EXISTS temp.touched")
    db.execute(
        "CREATE TEMP TABLE touched AS SELECT row, link_key FROM records WHERE standing IS NULL "
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
        "UPDATE records SET folded = fold(link_label), family = limit_family(limit_id, limit_found, configuration), "
        "standing = 0 WHERE row IN (SELECT row FROM temp.touched)"
    )
    db.execute(
        f"""
        WITH candidates AS (
            SELECT r.row, coalesce(r.link_key, 'row ' || r.row) AS link, r.family,
                (r.evidence = 'full-sweep')
                    + (r.evidence = 'full-sweep' AND coalesce(r.verdict, '') IN ('pass', 'fail')) AS weight,
                -- A rendition is the same test as its former, whatever its clock says.
                CASE WHEN r.kind = 'renditions'
                    THEN coalesce((SELECT f.tested_local FROM records f WHERE f.row = r.former), r.tested_local, '')
                    ELSE coalesce(r.tested_local, r.tested_at, '') END AS time,
                coalesce(r.points, 0) AS points, coalesce(r.step, 0) AS step
            FROM records r
            WHERE r.row IN (SELECT row FROM temp.touched)
                AND r.withdrawn = 0 AND r.replaced = 0 AND r.kind NOT IN {_OUT}
                AND NOT (r.kind = 'conflicts'
                    AND EXISTS (SELECT 1 FROM records f WHERE f.row = r.former AND f.withdrawn = 0))
                AND NOT EXISTS (SELECT 1 FROM records c
                    WHERE c.former = r.row AND c.kind = 'conflicts' AND c.withdrawn = 0)
        ), ranked AS (
            SELECT row, row_number() OVER (PARTITION BY link, family
                ORDER BY weight DESC, time DESC, points DESC, step, row DESC) AS place
            FROM candidates
        )
        UPDATE records SET standing = 1 WHERE row IN (SELECT row FROM ranked WHERE place = 1)
        """
    )
    db.execute("DROP TABLE temp.touched")
