"""Finding records: by label as people remember it, job, site, time, cable, limit, verdict, serial number, words."""

from __future__ import annotations

import re
import sqlite3
from collections.abc import Iterator
from dataclasses import replace
from typing import Any

from archive.store.catalogue.filters import Filters
from archive.store.catalogue.standing_columns import fold, functions
from archive.store.records import COUNTED

SHOWN = (
    "row, deposit, position, deposit || '/' || position AS address, record_id, link_label, link_key, link, doubt, "
    "job_id, site, building, floor, space, tested_local, tested_at, limit_found, limit_id, cable_type, cable_found, "
    "cable_basis, evidence, "
    "reported_verdict, reported_marginal, verdict, marginal, provisional, agrees, parameter, margin, length_m, "
    "leading_parameter, leading_pairing, leading_end, leading_frequency_mhz, leading_margin, "
    "local_serial, remote_serial, kind, former, withdrawn, replaced, current, accepted, unit, accepted_unit, first, "
    "conflict, copied, lesser_fails, digest, source_id, source_place, medium, configuration, operator_key, points, "
    "step, covers_from_mhz, covers_to_mhz"
)


def find(
    db: sqlite3.Connection, chosen: Filters, *, text: str | None = None, most: int | None = None
) -> Iterator[sqlite3.Row]:
    """Records that fit, newest test first. A link is found as `labels` says; text: words that must all be there."""
    where, values = replace(chosen, link=None).where()
    if chosen.link is not None:
        found = labels(db, chosen.link, job=chosen.job, site=chosen.site)
        where += f" AND r.link_label IN ({', '.join('?' * len(found))})"
        values.extend(found)
    if text is not None:
        where += " AND r.row IN (SELECT rowid FROM words WHERE words MATCH ?)"
        values.append(_match(text))
    limit = f" LIMIT {int(most)}" if most is not None else ""
    yield from db.execute(
        f"SELECT {SHOWN} FROM records r WHERE {COUNTED} AND {where} "
        f"ORDER BY coalesce(tested_local, tested_at, '') DESC, row DESC{limit}",
        values,
    )


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
