"""A look at the whole once more, after every column has its place: what columns say of each other."""

from __future__ import annotations

import re
from collections import Counter
from typing import Any

import numpy as np

from archive import vocabulary
from archive.formats.draft import heading
from archive.formats.draft.facts import Placed
from archive.formats.draft.layout import Layout
from archive.formats.draft.placing import Placing
from archive.formats.draft.roles import NAMES, Seen
from archive.formats.mapping.build.scalars import is_curve
from archive.formats.mapping.target import Target


def repeated(out: Placing) -> None:
    """A reading that is the same in every row of a record, while rows tell of pairs: one for the link."""
    for table in out.tables:
        role = table.roles
        if role is None or role.rows != "readings" or role.per_record <= 1.2:
            continue
        label = role.label.column.cells if role.label is not None else None
        for p in table.placed:
            if p.to is None or p.to.table != "readings" or p.to.pairing or p.to.wavelength:
                continue
            if "pairing" in role.keys and p.to.name not in ("delay_skew", "temperature", "velocity"):
                continue
            cells = p.seen.column.cells
            blocks = label or (table.found.record if table.found is not None else [])
            by: dict[Any, set[Any]] = {}
            for block, cell in zip(blocks, cells, strict=False):
                by.setdefault(block, set()).add(cell)
            if len(by) > 1 and all(len(v) == 1 for v in by.values()) and not p.seen.profile.constant:
                p.options["once"] = True
                p.reason += "; the same in every row of a record"


def told_apart(out: Placing) -> None:
    """Points of which most curves hold a frequency twice: what tells two curves apart is not known, so nothing is sure.

    A link that was tested twice under one label has its frequencies twice as well, but few links are.
    """
    for table in out.tables:
        role, found = table.roles, table.found
        if role is None or found is None or role.rows != "points" or "frequency" not in role.keys:
            continue
        said = [s.column.cells for name, s in role.keys.items() if name not in ("frequency", "unit")]
        keys = [cells for cells in said if len(cells) == len(found.record)]
        # Labels above the tables of a record tell them apart.
        keys += [found.run] if len(keys) < len(said) and found.run else []
        keys += [p.seen.column.cells for p in table.placed if p.to is not None and p.to.table == "records"]
        keys += [role.label.column.cells] if role.label is not None else []
        rows = zip(found.record, *map(_filled_down, keys), strict=False)
        seen: dict[Any, set[Any]] = {}
        twice: set[Any] = set()
        for key, frequency in zip(rows, role.keys["frequency"].column.cells, strict=False):
            at = seen.setdefault(key, set())
            if frequency in at:
                twice.add(key)
            at.add(frequency)
        if len(twice) <= 0.3 * len(seen):
            continue
        for p in table.placed:
            if p.to is not None and p.to.table in ("sweeps", "row") and p.to.name != "frequency":
                p.confidence = min(p.confidence, 0.6)
                p.reason += "; frequencies stand twice in one curve, so something more tells curves apart"


def _filled_down(cells: list[Any]) -> list[Any]:
    """A cell that is left blank repeats the one above."""
    out, last = [], None
    for cell in cells:
        last = cell if cell not in (None, "") else last
        out.append(last)
    return out


def row_numbers(out: Placing) -> None:
    """A number that differs from row to row, where a record has several rows, tells rows apart and not records."""
    for table in out.tables:
        role = table.roles
        if role is None or role.label is None or role.rows not in ("readings", "points", "curves"):
            continue
        if role.label.profile.unique >= 0.8:
            continue
        for p in table.placed:
            apart = p.seen.profile.unique > 0.95 and p.seen.profile.filled > 3
            if p.to == Target("records", "sequence") and apart:
                p.to, p.confidence, p.reason = None, 0.0, "numbers the rows, not the tests"


def end_of_element(out: Placing) -> None:
    """An element that says the end of the curves it holds: one end in all records, else nothing is sure."""
    for p in (p for t in out.tables for p in t.placed):
        element, _, last = p.seen.source.rpartition("/")
        if not element or p.to is None or p.to.table != "reported" or p.to.column != "end":
            continue
        mine = [q for t in out.tables for q in t.placed if q.seen.source.startswith(f"{element}/") and q is not p]
        curves = [q for q in mine if q.to is not None and q.to.table == "sweeps" and not q.to.end]
        if not curves:
            continue
        said = p.seen.profile.meanings("end")
        for q in curves:
            assert q.to is not None
            if p.seen.profile.constant and said:
                q.to = q.to.at(end=next(iter(said.values())))
                q.reason += f"; {p.seen.source!r} says the end"
            else:
                q.confidence = min(q.confidence, 0.6)
        p.to, p.confidence, p.reason = None, 0.0, f"{last.lstrip('@')}: the end of the curves beside it"


def dates_together(out: Placing) -> None:
    """A date without a time and a time beside it are parts; a date alone is the whole. One proves the order."""
    for table in out.tables:
        parts = [p for p in table.placed if p.to is not None and p.to.name == "tested_found" and p.to.part]
        names = {p.to.part for p in parts if p.to is not None}
        for p in parts:
            assert p.to is not None
            if p.to.part == "date" and "time" not in names:
                p.to = p.to.at(part="")
            elif p.to.part == "time" and "date" not in names:
                p.confidence = min(p.confidence, 0.5)
    every = [p for t in out.tables for p in t.placed]
    whole = [p for p in every if p.to == Target("records", "tested_found")]
    parts = [p for p in every if p.to is not None and p.to.name == "tested_found" and p.to.part in ("date", "time")]
    if whole and len(parts) == 2 and min(p.confidence for p in parts) > max(p.confidence for p in whole):
        for p in whole:
            p.to, p.confidence, p.reason = None, 0.0, "a time, but another date and time are surer"
    proved = {_order(p.options["format"]): p.seen.source for p in every if _order(p.options.get("format", ""))}
    if len(proved) != 1:
        return
    (order, source), *_ = proved.items()
    for p in every:
        mine = [x for x in p.seen.profile.dates if _order(x) == order]
        if "ask" in p.options and mine:
            p.options = {"format": mine[0]}
            p.reason = f"dates as {mine[0]}: {source!r} proves the order of day and month"


_LEAST = 8
"""Frequencies from which on single values are taken for the points of a curve."""


def spread(out: Placing) -> None:
    """Columns of one quantity at many frequencies, such as "NEXT 12-36 @ 100 MHz": together they are a curve."""
    for table in out.tables:
        curves: dict[Target, list[Placed]] = {}
        for p in table.placed:
            if p.to is not None and p.to.table == "readings" and p.to.frequency and is_curve(p.to.name):
                curves.setdefault(p.to.at(frequency=""), []).append(p)
        for to, points in curves.items():
            if len({float(p.to.frequency) for p in points if p.to is not None}) < max(_LEAST, len(points)):
                continue
            for p in points:
                assert p.to is not None
                p.to = to.at(table="sweeps", frequency=f"{float(p.to.frequency):.10g}")
                p.reason += f"; one of {len(points)} points of a curve"


def _order(pattern: str) -> str:
    """day or month: which of the two stands first in a pattern of numbers, "" where it has not both."""
    day, month = pattern.find("DD"), pattern.find("MM")
    if day < 0 or month < 0 or pattern.startswith("YY"):
        return ""
    return "day" if day < month else "month"


def signs(out: Placing) -> None:
    """Losses written below zero: all of a kind, and only where nearly every value is."""
    by: Counter[bool] = Counter()
    mine: list[Placed] = []
    for table in out.tables:
        for p in table.placed:
            t = p.to
            level = t is not None and (
                (
                    t.parameter
                    and vocabulary.parameter(t.parameter).unit == "dB"
                    and not t.parameter.startswith("optical_loss")
                )
                or (
                    t.table == "row"
                    and t.name in ("value", "values", "limit")
                    and table.roles is not None
                    and table.roles.rows in ("points", "curves")
                )
            )
            if (
                t is None
                or not level
                or t.origin == "margin"
                or t.column in ("margin", "frequency", "pairing", "end", "verdict")
            ):
                continue
            if np.isfinite(p.seen.profile.values).any() or p.seen.profile.lists > 0.5:
                negative = p.seen.profile.negative > 0.9
                by[negative] += 1
                mine.append(p)
    if by[True] and not by[False]:
        out.negative = True
        for p in mine:
            p.reason += "; losses are written below zero"
    elif by[True]:
        for p in mine:
            if p.seen.profile.negative > 0.9:
                p.options["negative"] = True
                p.reason += "; written below zero"


def only_once(out: Placing) -> None:
    """Two columns for one place: the surer keeps it; where neither is, both are less sure."""
    for table in out.tables:
        taken: dict[str, Placed] = {}
        label = table.roles.label if table.roles is not None else None

        def order(p: Placed, label: Seen | None = label) -> tuple[Any, ...]:
            return (p.seen is not label, -p.confidence, p.seen.source.startswith("/"))

        for p in sorted(table.placed, key=order):
            if p.to is None or p.to.name in ("far", "frequencies_mhz", "frequencies"):
                continue
            name = str(p.to)
            other = taken.get(name)
            if other is None:
                taken[name] = p
                continue
            outside = p.seen.source.startswith("/") and not other.seen.source.startswith("/")
            if other.confidence - p.confidence < 0.15 and not outside and other.seen is not label:
                other.confidence = min(other.confidence, 0.75)
                other.reason += f"; {p.seen.source!r} could be the same"
            p.reason = f"could be {name}, as {other.seen.source!r} is"
            p.to, p.confidence = None, 0.0


def label_at_all(out: Placing, layout: Layout) -> None:
    """Records need a label: the name of the sheet, the block or the file where no column has one."""
    labels = [p for t in out.tables for p in t.placed if p.to is not None and p.to.name == "link_label"]
    for p in labels[:1]:
        if p.seen.source in ("@block", "@sheet", "#key") and p.seen.profile.unique == 1 and layout.records > 1:
            p.confidence = max(p.confidence, 0.92)
    if labels:
        return
    for p in out.tables[0].placed:
        if p.seen.source in ("@block", "@sheet", "#key") and p.to is None and p.seen.profile.unique > 0.9:
            score = 0.92 if layout.records > 1 else 0.7
            p.to, p.confidence = Target("records", "link_label"), score
            p.reason = "nothing else names the links, and these differ from record to record"
            return
    candidates = [
        (t, p)
        for t in out.tables
        for p in t.placed
        if p.to is None and p.seen.profile.numeric < 0.5 and not p.seen.profile.dates and p.seen.profile.filled > 1
    ]
    mark = re.sub(r"\\.|\W+", " ", layout.block)
    begun = layout.block.startswith("/") and bool({"link_label", "cable"} & set(heading.read(mark).fields))
    for _, p in candidates:
        if begun and p.seen.profile.unique > 0.95 and p.seen.own.text.strip().casefold() in NAMES:
            p.to, p.confidence = Target("records", "link_label"), 0.92
            p.reason = f"the name of what begins with {mark.strip()!r}, and these all differ"
            return
    for _, p in candidates:
        if p.seen.profile.unique > 0.95 and p.seen.profile.verdicts < 0.5:
            p.to, p.confidence, p.reason = (
                Target("records", "link_label"),
                0.6,
                "nothing else names the links, and these all differ",
            )
            return
