"""A second look at tables of points and curves: headings that are frequencies or links, the one column that is left."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Sequence
from typing import Any

import numpy as np

from archive import vocabulary
from archive.formats.draft import heading, paired, shape
from archive.formats.draft.columns import Seen
from archive.formats.draft.hypotheses import hypotheses, score_of
from archive.formats.draft.layout import Found
from archive.formats.draft.placing import Placed, PlacedTable, Surroundings
from archive.formats.draft.quantities import dimension_of, parameter_of
from archive.formats.mapping.build.scalars import is_curve
from archive.formats.mapping.headings import HEADING, VALUE, VALUES, frequency_of
from archive.formats.mapping.target import Target


def lone_value(out: PlacedTable) -> None:
    """The one column of numbers that is left, in a table whose rows name their quantity and have no value yet."""
    meaning = out.meaning
    if meaning is None or "parameter" not in meaning.keys or meaning.rows not in ("points", "readings"):
        return
    left = [p for p in out.placed if p.to is None and p.seen.numeric and not p.seen.profile.constant]
    if len(left) == 2 and meaning.rows == "points" and (limit := _same_everywhere(left, out)) is not None:
        limit.to, limit.score = Target("row", "limit"), score_of(0.92)
        limit.reason = "the same for every link and pair at each frequency: a limit line"
        left.remove(limit)
    if len(left) != 1 or out.at("row", "value", "values") or out.at("sweeps"):
        return
    (p,) = left
    if meaning.rows == "readings" and dimension_of(p.seen.heading.unit) != "level":
        return
    speaks = _speaks(p.seen, out)
    p.to = Target("row", "value")
    p.score = score_of(0.93 if speaks > 0 else 0.3 if speaks < 0 else 0.75)
    p.reason = "the only numbers left beside what says their quantity" + ("; the curves have its shape" * (speaks > 0))


def _same_everywhere(left: Sequence[Placed], out: PlacedTable) -> Placed | None:
    """Of two columns the one whose number hangs on the quantity and the frequency alone, where the other's does not."""
    assert out.meaning is not None
    names, mhz = out.meaning.keys["parameter"].column.cells, out.meaning.keys["frequency"].profile.values
    if len(names) < len(mhz):
        return None
    shares = []
    for p in left:
        seen: dict[Any, list[float]] = {}
        for name, at, value in zip(names, mhz.tolist(), p.seen.profile.values.tolist(), strict=False):
            seen.setdefault((name, at), []).append(value)
        again = [v for v in seen.values() if len(v) > 1]
        shares.append(sum(len(set(v)) == 1 for v in again) / len(again) if again else 0.5)
    by = sorted(zip(shares, (0, 1), strict=True))
    return left[by[1][1]] if by[1][0] > 0.95 and by[0][0] < 0.5 else None


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
