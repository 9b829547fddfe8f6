"""A second look at tables of points and curves: headings that are frequencies or links, the one column that is left."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Sequence

import numpy as np

from archive import vocabulary
from archive.formats.draft import heading, paired, shape
from archive.formats.draft.columns import Seen
from archive.formats.draft.dependence import one_each
from archive.formats.draft.hypotheses import hypotheses, score_of
from archive.formats.draft.layout import Found
from archive.formats.draft.placing import Meaning, Placed, PlacedTable, Surroundings
from archive.formats.draft.quantities import dimension_of, parameter_of
from archive.formats.mapping.build.scalars import is_curve
from archive.formats.mapping.headings import HEADING, VALUE, VALUES, frequency_of
from archive.formats.mapping.target import Target


def complete(out: PlacedTable) -> None:
    """Value, limit and margin among the numbers that are left, in a table whose rows name their quantity.

    A limit hangs on quantity and frequency alone, and so does a value with its margin.
    """
    meaning = out.meaning
    if meaning is None or "parameter" not in meaning.keys or meaning.rows not in ("points", "readings"):
        return
    left = [p for p in out.placed if _may_be_level(p, meaning)]
    if "frequency" in {p.to.name for p in out.at("row") if p.to is not None}:
        for p in list(left):
            if (part := _by_frequency(p, left, out)) and not out.at("row", part):
                p.to, p.score = Target("row", part), score_of(0.92)
                p.reason = "for one quantity and frequency always the same" + " with the value" * (part == "margin")
                left.remove(p)
    if len(left) != 1 or out.at("row", "value", "values") or out.at("sweeps"):
        return
    (p,) = left
    speaks = _speaks(p.seen, out)
    p.to = Target("row", "value")
    told = speaks > 0 or bool(out.at("row", "limit", "margin"))
    p.score = score_of(0.3 if speaks < 0 else 0.93 if told else 0.75)
    p.reason = "the only numbers left beside what says their quantity" + ("; the curves have its shape" * (speaks > 0))


def undecided(claims: Sequence[Placed]) -> None:
    """Takes their place from columns that are values of rows by their unit alone: `complete` tells them apart."""
    mine = [p for p in claims if p.to == Target("row", "value") and p.seen.inner.unknown and not p.seen.inner.modifiers]
    for p in mine if len(mine) > 1 else ():
        p.nowhere("levels of which no word says what they are")


def _may_be_level(p: Placed, meaning: Meaning) -> bool:
    """Whether a column without a place may hold levels: numbers that differ within a link, none of another unit."""
    s, known = p.seen, p.seen.profile
    unit = dimension_of(s.heading.unit or known.unit)
    told = unit == "level" or (unit == "" and ("unit" in meaning.keys or meaning.rows == "points"))
    if p.to is not None or not s.numeric or known.constant or not told:
        return False
    of_link = meaning.label is not None and one_each(meaning.label, s)
    return not of_link and (unit == "level" or known.decimals > 0 or meaning.rows == "points")


def _by_frequency(p: Placed, left: Sequence[Placed], out: PlacedTable) -> str:
    """limit or margin, where a column is such by what is the same at one frequency; "" where it is neither or both."""
    assert out.meaning is not None
    names = out.meaning.keys["parameter"].column.cells
    mhz = next(p for p in out.at("row", "frequency")).seen.profile.values
    values, mine = next(iter(out.at("row", "value")), None), p.seen.profile.values
    if len(names) < len(mhz):
        return ""
    if values is not None:
        return shape.part_of(names, mhz, values.seen.profile.values, mine)
    others = [shape.same_at(names, mhz, q.seen.profile.values) for q in left if q is not p]
    return "limit" if others and shape.same_at(names, mhz, mine) > 0.95 and max(others) < 0.6 else ""


def step_left(out: PlacedTable) -> None:
    """The step of axes of which the start is known: the one number that is left and the same in every row."""
    start = next(iter(out.at("row", "start")), None)
    values = next(iter(out.at("row", "values")), None)
    if out.rows != "curves" or start is None or values is None or out.at("row", "step", "stop"):
        return
    left = [p for p in out.placed if _may_step(p, start)]
    if len(left) == 1:
        left[0].to, left[0].score, left[0].unit = Target("row", "step"), score_of(0.91), start.unit
        left[0].reason = "beside a start the one number that is the same in every row"


def _may_step(p: Placed, start: Placed) -> bool:
    known = p.seen.profile
    free = p.to is None or (p.to.table == "places" and bool(p.seen.heading.maybe))
    return free and p.seen.numeric and known.constant and known.decimals == start.seen.profile.decimals


def shapes_back(out: PlacedTable, around: Surroundings) -> None:
    """Curves that have the shapes of the quantities that words of their rows may name make these words sure."""
    if out.rows != "points":
        return
    key = next(iter(out.at("row", "parameter")), None)
    value = next(iter(out.at("row", "value")), None)
    if key is None or value is None or key.confidence >= 0.93 or len(out.parameters) < len(key.seen.profile.distinct):
        return
    if _speaks(value.seen, out, around) > 0:
        key.score = score_of(0.93)
        out.parameters = {w: (m, max(p, 0.93)) for w, (m, p) in out.parameters.items()}
        key.reason += "; the curves have these shapes"


_CURVES = 60
"""Curves of a table whose shapes are looked at."""


def _speaks(s: Seen, out: PlacedTable, around: Surroundings | None = None) -> int:
    """Whether the curves of a column have the shapes of the quantities that its rows name."""
    assert out.meaning is not None
    if "frequency" not in out.meaning.keys:
        return 0
    around = around or Surroundings(paired.Scheme("contacts", 1.0, ""), False)
    mhz, names = out.meaning.keys["frequency"].profile.values, out.meaning.keys["parameter"].column.cells
    starts = np.flatnonzero(np.append(True, np.diff(mhz) <= 0))
    if len(names) == len(mhz):
        names = [names[at] for at in starts]
    elif len(names) != len(starts):
        return 0  # Labels above some other number of tables.
    votes: Counter[int] = Counter()
    for name, at, stop in list(zip(names, starts, [*starts[1:], len(mhz)], strict=True))[:_CURVES]:
        parameter, _ = parameter_of(heading.read(str(name)), around)
        if parameter:
            votes[shape.agrees(parameter, shape.shape(mhz[at:stop], s.profile.values[at:stop]))] += 1
    if votes[-1] > 0.2 * votes.total():
        return -1
    return 1 if votes[1] > 0.5 * votes.total() else 0


def link_headings(out: PlacedTable, found: Found, around: Surroundings) -> None:
    """Columns of points whose headings are the labels of links: what they are values of stands above the table."""
    context = heading.read(*found.context) if found.context else heading.read("")
    parameter, _ = parameter_of(context, around)
    meaning = out.meaning
    keyed = {id(s) for s in meaning.keys.values()} if meaning is not None else set()
    mine = [p for p in out.placed if id(p.seen) not in keyed and p.source in around.links]
    if meaning is None or not parameter or not is_curve(parameter) or len(mine) < 2:
        return
    out.placed = [p for p in out.placed if p not in mine]
    column, first = mine[0].seen.column, mine[0].seen

    def gathered(name: str) -> Seen:
        return Seen(type(column)(name, ("",), []), heading.read(""), first.profile, heading.read(""), heading.read(""))

    mhz = meaning.keys["frequency"].profile.values
    agrees = shape.agrees(parameter, shape.shape(shape.first_run(mhz, mhz), shape.first_run(first.profile.values, mhz)))
    per = vocabulary.parameter(parameter).per
    pair = paired.resolve(context.pairs, around.scheme.name, per == "ordered") if context.pairs else ""
    pair = pair if ("/" in pair) == (per in ("combination", "ordered")) else ""
    to = Target("sweeps", parameter, end=(context.ends or [""])[0], pairing=pair)
    likely = 0.95 if agrees > 0 else 0.5 if agrees < 0 else 0.9
    if per in ("pair", "combination", "ordered"):
        likely = min(likely, around.scheme.confidence if pair else 0.6)
    cells = {"cells": sum(p.seen.profile.filled for p in mine)}
    why = f"the title says {vocabulary.parameter(parameter).name}, the headings are links"
    found.headings_are = "links"
    label = Target("records", "link_label")
    out.placed.append(Placed(gathered(HEADING), label, "", score_of(0.95), "labels of other tables"))
    out.placed.append(Placed(gathered(VALUE), to, "", score_of(likely), why, cells, "value"))


def frequency_headings(out: PlacedTable, found: Found, around: Surroundings) -> None:
    """Columns whose headings are frequencies: together they are one list per row."""
    mine = [p for p in out.placed if frequency_of(p.source) is not None]
    meaning = out.meaning
    if not mine or meaning is None:
        return
    out.placed = [p for p in out.placed if p not in mine]
    first = mine[0].seen
    gathered = Seen(
        type(first.column)(VALUES, first.column.levels, []), first.heading, first.profile, first.own, first.inner
    )
    options = {"frequency_unit": _unit([p.source for p in mine]), "cells": sum(p.seen.profile.filled for p in mine)}
    why = "headings are frequencies"
    if "parameter" in meaning.keys:
        score = score_of(0.95 if all(p.seen.numeric for p in mine) else 0.7)
        out.placed.append(Placed(gathered, Target("row", "values"), "", score, why, options, "value"))
        return
    context = heading.read(*found.context) if found.context else heading.read("")
    parameter, _ = parameter_of(context, around)
    if parameter:
        to = Target("sweeps", parameter, end=(context.ends or [""])[0])
        out.placed.append(Placed(gathered, to, "", score_of(0.9), why, options))
    else:
        out.placed.append(Placed(gathered, None, reason="curves of a quantity that nothing names", options=options))


def _unit(names: Sequence[str]) -> str:
    """Unit of headings that are frequencies: as written, else by their size."""
    if re.search(r"([kMG]?Hz)", names[0]):
        return "MHz"
    top = max(frequency_of(n) or 0 for n in names)
    sizes = ((n, r) for n, r in hypotheses().frequency.items() if n != "GHz")
    return next((n for n, (low, high) in sizes if low <= top <= high), "MHz")
