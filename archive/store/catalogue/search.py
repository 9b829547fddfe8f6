"""Finding records: by label as people remember it, job, site, time, cable, limit, verdict, serial number, words."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from itertools import groupby
from typing import Any

from archive.store.catalogue.filters import Filters
from archive.store.catalogue.label_search import LabelMatch, labels, match_words
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
    db: sqlite3.Connection,
    chosen: Filters,
    *,
    text: str | None = None,
    most: int | None = None,
    among: Sequence[LabelMatch] | None = None,
) -> Iterator[sqlite3.Row]:
    """Records that fit, newest test first. text: words that must all be there.

    A link is found as `labels` says, or by the matches given as among: then in their order, newest first in each kind.
    """
    where, values = replace(chosen, link=None).where()
    if text is not None:
        where += " AND r.row IN (SELECT rowid FROM words WHERE words MATCH ?)"
        values.append(match_words(text))
    seen = set[int]()
    for condition, wanted in _links(db, chosen, among):
        rows = db.execute(
            f"SELECT {SHOWN} FROM records r WHERE {COUNTED} AND {where}{condition} "
            "ORDER BY coalesce(tested_local, tested_at, '') DESC, row DESC"
            + (f" LIMIT {most + len(seen)}" if most is not None else ""),
            [*values, *wanted],
        )
        for row in rows:
            if most is not None and len(seen) == most:
                return
            if row["row"] not in seen:
                seen.add(row["row"])
                yield row


def matched(among: Sequence[LabelMatch], row: Mapping[str, Any] | sqlite3.Row) -> LabelMatch:
    """By which of the matches a record was found."""
    return next(m for m in among if m.label == row["link_label"] and m.link_key in ("", row["link_key"]))


def _links(
    db: sqlite3.Connection, chosen: Filters, among: Sequence[LabelMatch] | None
) -> Iterator[tuple[str, list[str]]]:
    """Conditions that choose the links, with their values; each kind of match is one."""
    if chosen.link is None:
        yield "", []
    elif among is None:
        found = labels(db, chosen.link, job=chosen.job, site=chosen.site)
        yield f" AND r.link_label IN ({', '.join('?' * len(found))})", found
    else:
        for _, members in groupby(among, key=lambda m: (m.how, bool(m.former))):
            listed = list(members)
            column = "link_key" if listed[0].former else "link_label"
            marks = ", ".join("?" * len(listed))
            yield f" AND r.{column} IN ({marks})", [m.link_key or m.label for m in listed]
