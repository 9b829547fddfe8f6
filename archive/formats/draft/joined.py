"""Tables of one file whose rows belong to the links of another of its tables, by a number or a name that both hold."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import groupby

from archive.formats.draft.columns import Seen
from archive.formats.draft.hypotheses import score_of
from archive.formats.draft.meaning import label_of
from archive.formats.draft.placing import Placed
from archive.formats.mapping.target import Target

JOINS = "the tables of the file name their links by this"


def keys(tables: Sequence[list[Seen]], fiber: bool) -> dict[int, Seen]:
    """The columns by which tables without labels of links are joined to the one that has them, by number of table;
    the one of the table with the labels is among them. Empty where nothing is joined."""
    filled = [[s for s in t if s.profile.filled] for t in tables]
    labels = [label_of(t, fiber) for t in filled]
    out: dict[int, Seen] = {}
    for n, (table, label) in enumerate(zip(filled, labels, strict=True)):
        if label is None:
            continue
        for own in table:
            joined = {m: k for m, t in enumerate(filled) if labels[m] is None and (k := _same(own, t)) is not None}
            if joined and own.profile.unique > 0.95 and len(joined) >= len(out):
                out = joined if own is label else {n: own, **joined}
    return out


def _same(own: Seen, table: list[Seen]) -> Seen | None:
    """The column of a table that holds the keys of `own`: under the same heading, or in one run for each key."""
    there = set(_texts(own))
    if len(there) < 2 or own.profile.dates or own.profile.verdicts > 0.5:
        return None
    for s in table:
        cells = _texts(s)
        runs = [k for k, _ in groupby(cells)]
        if len(set(runs)) < 2 or not set(runs) <= there or len(runs) == len(cells) > len(there):
            continue
        heading = own.own.text.strip().casefold()
        if (heading and s.own.text.strip().casefold() == heading) or len(runs) == len(set(runs)) < len(cells):
            return s
    return None


def _texts(s: Seen) -> list[str]:
    """Its cells; whole numbers of a workbook as they are printed."""
    return [str(c).strip().removesuffix(".0") for c in s.column.cells if c not in (None, "")]


def settle(placed: Sequence[Placed], key: Seen, by_label: bool) -> None:
    """Gives the key of a table the place by which records are joined. by_label: the keys are labels of links."""
    for p in placed:
        if p.seen is key:
            p.to, p.unit, p.score = Target("records", "link_label" if by_label else "sequence"), "", score_of(0.92)
            p.reason, p.options = JOINS, {}
