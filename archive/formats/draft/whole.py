"""A look at the whole, after every column has its place: what is decided for all columns together.

Order of day and month, sign, curves of single points, what tells curves apart, the label that records need.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from typing import Any

import numpy as np

from archive import vocabulary
from archive.formats.draft import heading
from archive.formats.draft.columns import filled_down
from archive.formats.draft.hypotheses import doubt, score_of
from archive.formats.draft.layout import Layout
from archive.formats.draft.meaning import NAMES
from archive.formats.draft.placing import Placed, PlacedTable, Placing
from archive.formats.mapping.build.scalars import is_curve
from archive.formats.mapping.target import Target

_TESTED = "tested_found"
_OF_BLOCK = ("@block", "@sheet", "#key")


def look_over(out: Placing, layout: Layout, order: str) -> None:
    """Settles what concerns several columns. order: which of day and month stands first, as a person said, or ""."""
    for table in out.tables:
        _spread(table)
        _row_numbers(table)
    _dates(out, order)
    _end_of_element(out)
    for table in out.tables:
        _repeated(table)
    _signs(out)
    for p in (p for p in out.placed if p.to is not None):
        for key, value in (("encoding", p.seen.profile.encoding), ("separator", p.seen.profile.separator)):
            if value:
                p.options[key] = value
    for table in out.tables:
        _one_each(table)
        _told_apart(table)
    _ends_of_tables(out)
    _label_at_all(out, layout)
    for p in (p for p in out.placed if p.seen.column.doubt and p.to is not None):
        p.at_most(doubt("doubt"), p.seen.column.doubt)


def _one_each(table: PlacedTable) -> None:
    """Two columns that came to one place: the surer keeps it."""
    label = table.meaning.label if table.meaning is not None else None
    taken: dict[str, Placed] = {}
    for p in sorted(table.placed, key=lambda p: (p.seen is not label, -p.score, p.source.startswith("/"))):
        if p.to is None or p.to.name in ("far", "frequencies_mhz", "frequencies"):
            continue
        other = taken.setdefault(str(p.to), p)
        if other is p:
            continue
        outside = p.source.startswith("/") and not other.source.startswith("/")
        if other.confidence - p.confidence < 0.15 and not outside and other.seen is not label:
            other.at_most(doubt("rival"), f"{p.source!r} could be the same")
        p.nowhere(f"could be {p.to}, as {other.source!r} is")


def _repeated(table: PlacedTable) -> None:
    """A reading that is the same in every row of a record, while rows tell of pairs: one for the link."""
    meaning = table.meaning
    if meaning is None or meaning.rows not in ("readings", "points", "curves") or meaning.per_record <= 1.2:
        return
    of_label = meaning.label.column.cells if meaning.label is not None else None
    blocks = of_label or (table.found.record if table.found is not None else [])
    for p in table.at("readings"):
        assert p.to is not None
        if p.to.wavelength or p.seen.profile.constant:
            continue
        if "pairing" in meaning.keys and not p.to.pairing and p.to.name not in _OF_LINK and len(meaning.keys) < 2:
            continue
        by: dict[Any, set[Any]] = {}
        for block, cell in zip(filled_down(blocks), p.seen.column.cells, strict=False):
            by.setdefault(block, set()).add(cell)
        if len(by) > 1 and all(len(v) == 1 for v in by.values()):
            p.options["once"] = True
            p.reason += "; the same in every row of a record"


_OF_LINK = ("delay_skew", "temperature", "velocity")
"""Scalars of a link, whatever its rows tell of."""


def _told_apart(table: PlacedTable) -> None:
    """Points of which most curves hold a frequency twice: what tells two curves apart is not known, so nothing is sure.

    A link that was tested twice under one label has its frequencies twice as well, but few links are.
    """
    if twice(table) <= 0.3:
        return
    for p in table.at("sweeps") + [p for p in table.at("row") if p.to is not None and p.to.name != "frequency"]:
        p.at_most(0.6, "frequencies stand twice in one curve, so something more tells curves apart")


def twice(table: PlacedTable, more: tuple[list[Any], ...] = ()) -> float:
    """Share of the curves of a table of points that hold a frequency twice. more: cells of further columns that tell
    curves apart."""
    meaning, found = table.meaning, table.found
    if meaning is None or found is None or meaning.rows != "points" or "frequency" not in meaning.keys:
        return 0.0
    said = [s.column.cells for name, s in meaning.keys.items() if name not in ("frequency", "unit")]
    keys = [cells for cells in said if len(cells) == len(found.record)]
    # Labels above the tables of a record tell them apart.
    keys += [found.run] if len(keys) < len(said) and found.run else []
    keys += [p.seen.column.cells for p in table.at("records")]
    keys += [meaning.label.column.cells] if meaning.label is not None else []
    keys += list(more)
    seen: dict[Any, set[Any]] = {}
    double: set[Any] = set()
    rows = zip(found.record, *map(filled_down, keys), strict=False)
    for key, frequency in zip(rows, meaning.keys["frequency"].column.cells, strict=False):
        at = seen.setdefault(key, set())
        if frequency in at:
            double.add(key)
        at.add(frequency)
    return len(double) / max(1, len(seen))


def _ends_of_tables(out: Placing) -> None:
    """Tables of one quantity that has ends, one of which says none: the other end than its sister, or unsure."""
    for parameter in {p.to.parameter for p in out.placed if p.to is not None and p.to.parameter}:
        if not vocabulary.parameter(parameter).ends:
            continue
        mine = [t for t in out.tables if t.meaning is not None and "end" not in t.meaning.keys]
        of = [(t, [p for p in t.placed if p.to is not None and p.to.parameter == parameter]) for t in mine]
        said = {p.to.end for _, placed in of for p in placed if p.to is not None and p.to.end}
        for _, placed in of if sum(bool(placed) for _, placed in of) > 1 else ():
            for p in (p for p in placed if p.to is not None and not p.to.end):
                assert p.to is not None
                if len(said) == 1:
                    p.to = p.to.at(end="local" if said == {"remote"} else "remote")
                p.at_most(0.75, "nothing but the table beside it says of which end it is")


def _row_numbers(table: PlacedTable) -> None:
    """A number that differs from row to row, where a record has several rows, tells rows apart and not records."""
    meaning = table.meaning
    if meaning is None or meaning.label is None or meaning.rows not in ("readings", "points", "curves"):
        return
    if meaning.label.profile.unique >= 0.8:
        return
    for p in table.at("records", "sequence"):
        if p.seen.profile.unique > 0.95 and p.seen.profile.filled > 3:
            p.nowhere("numbers the rows, not the tests")


def _end_of_element(out: Placing) -> None:
    """An element that says the end of the curves it holds: one end in all records, else nothing is sure."""
    for p in out.placed:
        element, _, last = p.source.rpartition("/")
        if not element or p.to is None or p.to.table != "reported" or p.to.column != "end":
            continue
        mine = [q for q in out.placed if q.source.startswith(f"{element}/") and q is not p]
        curves = [q for q in mine if q.to is not None and q.to.table == "sweeps" and not q.to.end]
        said = p.seen.profile.meanings("end")
        for q in curves:
            assert q.to is not None
            if p.seen.profile.constant and said:
                q.to = q.to.at(end=next(iter(said.values())))
                q.reason += f"; {p.source!r} says the end"
            else:
                q.at_most(0.6)
        if curves:
            p.nowhere(f"{last.lstrip('@')}: the end of the curves beside it")


def _dates(out: Placing, said: str) -> None:
    """A date without a time and a time beside it are parts; a date alone is the whole. One proves the order."""
    for table in out.tables:
        _date_parts(table)
    every = [p for t in out.tables for p in t.at("records", _TESTED)]
    whole = [p for p in every if p.to == Target("records", _TESTED)]
    parts = [p for p in every if p.to is not None and p.to.part in ("date", "time")]
    if whole and len(parts) == 2 and min(p.score for p in parts) > max(p.score for p in whole):
        for p in whole:
            p.nowhere("a time, but another date and time are surer")
    proved = {o: p.source for p in out.placed if (o := day_or_month(p.options.get("format", "")))}
    if said in ("day", "month"):
        proved = {said: "the answer"}
    if len(proved) != 1:
        return
    (order, source), *_ = proved.items()
    for p in out.placed:
        mine = [x for x in p.seen.profile.dates if day_or_month(x) == order]
        if "ask" in p.options and mine:
            p.options = {"format": mine[0]}
            p.reason = f"dates as {mine[0]}: {source!r} proves the order of day and month"


def _date_parts(table: PlacedTable) -> None:
    parts = [p for p in table.at("records", _TESTED) if p.to is not None and p.to.part]
    names = {p.to.part for p in parts if p.to is not None}
    for p in parts:
        assert p.to is not None
        if p.to.part == "date" and "time" not in names:
            p.to = p.to.at(part="")
        elif p.to.part == "time" and "date" not in names:
            p.at_most(0.5)


def day_or_month(pattern: str) -> str:
    """day or month: which of the two stands first in a pattern of numbers, "" where it has not both."""
    day, month = pattern.find("DD"), pattern.find("MM")
    if day < 0 or month < 0 or pattern.startswith("YY"):
        return ""
    return "day" if day < month else "month"


_LEAST = 8
"""Frequencies from which on single values are taken for the points of a curve."""


def _spread(table: PlacedTable) -> None:
    """Columns of one quantity at many frequencies, such as "NEXT 12-36 @ 100 MHz": together they are a curve."""
    curves: dict[Target, list[Placed]] = {}
    for p in table.at("readings"):
        if p.to is not None and p.to.frequency and is_curve(p.to.name):
            curves.setdefault(p.to.at(frequency=""), []).append(p)
    for to, points in curves.items():
        if len({float(p.to.frequency) for p in points if p.to is not None}) < max(_LEAST, len(points)):
            continue
        for p in points:
            assert p.to is not None
            p.to = to.at(table="sweeps", frequency=f"{float(p.to.frequency):.10g}")
            p.reason += f"; one of {len(points)} points of a curve"


def _signs(out: Placing) -> None:
    """Losses written below zero: all of a kind, and only where nearly every value is."""
    mine = [p for t in out.tables for p in t.placed if _is_level(p, t.rows) and _holds_numbers(p)]
    below = [p for p in mine if p.seen.profile.negative > 0.9]
    if below and len(below) == len(mine):
        out.negative = True
    for p in below:
        if not out.negative:
            p.options["negative"] = True
        p.reason += "; losses are written below zero" if out.negative else "; written below zero"


def _holds_numbers(p: Placed) -> bool:
    return bool(np.isfinite(p.seen.profile.values).any()) or p.seen.profile.lists > 0.5


def _is_level(p: Placed, rows: str) -> bool:
    """Whether a column holds losses or isolations, which may be written below zero."""
    t = p.to
    if t is None or t.origin == "margin" or t.column in ("margin", "frequency", "pairing", "end", "verdict"):
        return False
    if t.parameter:
        return vocabulary.parameter(t.parameter).unit == "dB" and not t.parameter.startswith("optical_loss")
    return t.table == "row" and t.name in ("value", "values", "limit") and rows in ("points", "curves", "readings")


def _label_at_all(out: Placing, layout: Layout) -> None:
    """Records need a label: the name of the sheet, the block or the file where no column has one."""
    label = Target("records", "link_label")
    found = [p for p in out.placed if p.to == label]
    for p in found[:1]:
        if p.source in _OF_BLOCK and p.seen.profile.unique == 1 and layout.records > 1:
            p.score = max(p.score, score_of(0.92))
    if found:
        return
    mark = re.sub(r"\\.|\W+", " ", layout.block)
    begun = layout.block.startswith("/") and bool({"link_label", "cable"} & set(heading.read(mark).fields))
    for ready, probability, why in _label_rules(out, layout, begun, mark.strip()):
        fits = [p for p in out.placed if ready(p)]
        if fits:
            fits[0].to, fits[0].score, fits[0].reason = label, score_of(probability), why
            return


def _label_rules(
    out: Placing, layout: Layout, begun: bool, mark: str
) -> list[tuple[Callable[[Placed], bool], float, str]]:
    """What may be the label where nothing is placed there: test of a column, probability, reason."""
    first = {id(p) for p in out.tables[0].placed}
    sure = 0.92 if layout.records > 1 else 0.7

    def block(p: Placed) -> bool:
        return id(p) in first and p.source in _OF_BLOCK and p.to is None and p.seen.profile.unique > 0.9

    def text(p: Placed) -> bool:
        free = p.to is None and p.seen.profile.numeric < 0.5 and not p.seen.profile.dates
        return free and p.seen.profile.filled > 1 and p.seen.profile.unique > 0.95

    def named(p: Placed) -> bool:
        return begun and text(p) and p.seen.own.text.strip().casefold() in NAMES

    def any_text(p: Placed) -> bool:
        return text(p) and p.seen.profile.verdicts < 0.5

    differ = "nothing else names the links, and these all differ"
    return [
        (block, sure, f"{differ} from record to record"),
        (named, 0.92, f"the name of what begins with {mark!r}, and these all differ"),
        (any_text, 0.6, differ),
    ]


def rows_as_records(out: Placing) -> None:
    """Elements of which many have one label are no records but rows of them: what they measure is not of a link."""
    labels = out.tables[0].at("records", "link_label")
    if not labels or labels[0].seen.profile.unique > 0.6:
        return
    for p in (p for p in out.placed if p.to is not None):
        p.at_most(0.3, "elements of one label come again and again: each is a row, and not a link")
