"""Finding records: by label as people remember it, job, site, time, cable, limit, verdict, serial number, words."""

from __future__ import annotations

import re
import sqlite3
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from archive.store.catalogue.settle import fold, functions

SHOWN = (
    "row, deposit, position, deposit || '/' || position AS address, record_id, link_label, link_key, job_id, site, "
    "tested_local, tested_at, "
    "limit_found, limit_id, cable_type, evidence, reported_verdict, verdict, marginal, provisional, agrees, parameter, "
    "margin, length_m, local_serial, remote_serial, kind, former, withdrawn, replaced, standing, digest, source_id, "
    "source_place, medium, configuration, family, reported_marginal, operator_key"
)


@dataclass(frozen=True)
class Filters:
    """What to look for; what is None does not narrow. since, until: ISO 8601 dates, both inclusive."""

    link: str | None = None
    job: str | None = None
    site: str | None = None
    since: str | None = None
    until: str | None = None
    cable_type: str | None = None
    limit: str | None = None
    verdict: str | None = None
    serial: str | None = None
    text: str | None = None
    standing: bool | None = None


def find(db: sqlite3.Connection, filters: Filters, *, most: int | None = None) -> Iterator[sqlite3.Row]:
    """Records that fit, newest test first. A link is matched exactly; where nothing is, as `labels` says."""
    functions(db)
    where, values = conditions(db, filters)
    limit = f" LIMIT {int(most)}" if most is not None else ""
    yield from db.execute(
        f"SELECT {SHOWN} FROM records WHERE {' AND '.join(where) or '1'} "
        f"ORDER BY coalesce(tested_local, tested_at, '') DESC, row DESC{limit}",
        values,
    )


def conditions(db: sqlite3.Connection, filters: Filters) -> tuple[list[str], list[Any]]:
    """SQL conditions over records and their values."""
    where: list[str] = ["kind NOT IN ('same_file', 'same_content')"]
    values: list[Any] = []

    def add(condition: str, *given: Any) -> None:
        where.append(condition)
        values.extend(given)

    f = filters
    if f.job is not None:
        add("job_id = ?", f.job)
    if f.site is not None:
        add("site = ? COLLATE NOCASE", f.site)
    if f.since is not None:
        add("substr(coalesce(tested_local, tested_at, ''), 1, length(?)) >= ?", f.since, f.since)
    if f.until is not None:
        add("substr(coalesce(tested_local, tested_at, '9'), 1, length(?)) <= ?", f.until, f.until)
    if f.cable_type is not None:
        add("(cable_type = ? OR cable_type LIKE ? || '/%')", f.cable_type, f.cable_type)
    if f.limit is not None:
        add("(limit_id = ? OR limit_found = ? OR limit_id LIKE '%' || ? || '%')", f.limit, f.limit, f.limit)
    if f.verdict is not None:
        add("coalesce(verdict, 'not graded') = ?", f.verdict)
    if f.serial is not None:
        add("(local_serial = ? OR remote_serial = ?)", f.serial, f.serial)
    if f.text is not None:
        add("row IN (SELECT rowid FROM words WHERE words MATCH ?)", _match(f.text))
    if f.standing is not None:
        add("standing = ?", int(f.standing))
    if f.link is not None:
        found = labels(db, f.link, job=f.job, site=f.site)
        add(f"link_label IN ({', '.join('?' * len(found))})", *found)
    return where, values


def labels(db: sqlite3.Connection, link: str, *, job: str | None = None, site: str | None = None) -> list[str]:
    """Labels that somebody may mean, the surest kind of match alone.

    Exactly so; a former label of a link; equal but for case, separators, leading zeros and O for 0; beginning or
    ending with it; holding all of its parts.
    """
    functions(db)
    narrow, given = "", list[Any]()
    if job is not None:
        narrow, given = narrow + " AND job_id = ?", [*given, job]
    if site is not None:
        narrow, given = narrow + " AND site = ? COLLATE NOCASE", [*given, site]
    folded = fold(link) or ""
    tries: list[tuple[str, list[Any]]] = [
        ("link_label = ?", [link]),
        ("row IN (SELECT row FROM amendments WHERE field = 'link_label' AND old = ?)", [link]),
        ("folded = ?", [folded]),
        ("row IN (SELECT row FROM amendments WHERE field = 'link_label' AND fold(old) = ?)", [folded]),
    ]
    if len(folded) >= 2:
        tries.append(("folded LIKE ? || '%'", [folded]))
        tries.append(("folded LIKE '%' || ? || '%'", [folded]))
    words = [w for w in re.split(r"\W+", link) if w]
    if words:
        tries.append(("row IN (SELECT rowid FROM words WHERE words MATCH ?)", [_match(link, "label")]))
    for condition, values in tries:
        found = db.execute(
            f"SELECT DISTINCT link_label FROM records WHERE {condition}{narrow} AND link_label IS NOT NULL "
            "ORDER BY link_label LIMIT 200",
            [*values, *given],
        ).fetchall()
        if found:
            return [str(r[0]) for r in found]
    return []


def _match(text: str, column: str = "") -> str:
    """Words a person typed as a query for the full text: every word, as the beginning of a word; no query syntax."""
    words = re.findall(r"\w+", text)
    query = " ".join(f'"{w}"*' for w in words) or '""'
    return f"{{{column}}} : ({query})" if column else query
