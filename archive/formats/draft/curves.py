"""Places the columns of tables of points and of whole curves."""

from __future__ import annotations

import re
from collections import Counter
from typing import Any

import numpy as np

from archive import vocabulary
from archive.formats.draft import heading, paired, shape
from archive.formats.draft.facts import Placed, nowhere, place_fact
from archive.formats.draft.layout import Found
from archive.formats.draft.measures import (
    Surroundings,
    first_run,
    frequency_unit_of_list,
    parameter_of,
    point_column,
    qualify,
    scalar_column,
)
from archive.formats.draft.placing import PlacedTable
from archive.formats.draft.roles import Roles, Seen
from archive.formats.draft.rowed import is_level, row_value
from archive.formats.draft.single import nvp
from archive.formats.draft.sure import NEUTRAL, STRONG, sure
from archive.formats.mapping.build.scalars import is_curve
from archive.formats.mapping.target import Target


def point(s: Seen, role: Roles, around: Surroundings, mhz: Any, seen: list[Seen]) -> Placed:
    """A column of a table whose rows are points, that says nothing of its row."""
    h = s.heading
    if s.source.startswith("../") and s.profile.numeric > 0.9 and s is not role.label:
        return nowhere(s, "one number for all points of a curve")
    parameter, how = parameter_of(h, around)
    if s is role.label or (
        h.fields and not parameter and not (s.profile.numeric > 0.9 and (h.modifiers & _SAYS_WHICH or is_level(h.unit)))
    ):
        return place_fact(s, True, s is role.label) or nowhere(s)
    if "parameter" in role.keys and not parameter:
        return row_value(s, around, role)
    if not parameter:
        fact = place_fact(s, True)
        if fact is not None and fact.confidence > 0.5:
            return fact
        return _by_shape(s, around, role, mhz, seen)
    if not is_curve(parameter):
        return scalar_column(s, parameter, how, around, role, "worst_value") or nowhere(s)
    return point_column(s, parameter, how, around, role, mhz) or nowhere(s)


_SAYS_WHICH = frozenset(("limit", "margin", "value"))


def lone_value(out: PlacedTable, around: Surroundings) -> None:
    """The one column of numbers that is left, in a table whose rows name their quantity and have no value yet."""
    role = out.roles
    if role is None or "parameter" not in role.keys or role.rows not in ("points", "readings"):
        return
    taken = [p for p in out.placed if p.to is not None and p.to.table == "row" and p.to.name in ("value", "values")]
    left = [p for p in out.placed if p.to is None and p.seen.profile.numeric > 0.9]
    if len(left) == 2 and role.rows == "points" and (limit := _same_everywhere(left, role)) is not None:
        limit.to, limit.confidence = Target("row", "limit"), 0.92
        limit.reason = "the same for every link and pair at each frequency: a limit line"
        left.remove(limit)
    if taken or len(left) != 1 or any(p.to is not None and p.to.table == "sweeps" for p in out.placed):
        return
    (p,) = left
    if role.rows == "readings" and not is_level(p.seen.heading.unit):
        return
    speaks = _speaks(p.seen, role, around)
    p.to = Target("row", "value")
    p.confidence = 0.93 if speaks > 0 else 0.3 if speaks < 0 else 0.75
    p.reason = "the only numbers left beside what says their quantity" + ("; the curves have its shape" * (speaks > 0))


def _same_everywhere(left: list[Placed], role: Roles) -> Placed | None:
    """Of two columns the one whose number hangs on the quantity and the frequency alone, where the other's does not."""
    names, mhz = role.keys["parameter"].column.cells, role.keys["frequency"].profile.values
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
    role = out.roles
    if role is None or role.rows != "points" or "parameter" not in role.keys:
        return
    key = next((p for p in out.placed if p.to == Target("row", "parameter")), None)
    value = next((p for p in out.placed if p.to == Target("row", "value")), None)
    if key is None or value is None or key.confidence >= 0.93 or len(out.parameters) < len(key.seen.profile.distinct):
        return
    if _speaks(value.seen, role, around) > 0:
        key.confidence = 0.93
        key.reason += "; the curves have these shapes"


def _speaks(s: Seen, role: Roles, around: Surroundings) -> int:
    """Whether the curves of a column have the shapes of the quantities that its rows name."""
    if "frequency" not in role.keys:
        return 0
    mhz, names = role.keys["frequency"].profile.values, role.keys["parameter"].column.cells
    votes: Counter[int] = Counter()
    starts = np.flatnonzero(np.append(True, np.diff(mhz) <= 0))
    if len(names) == len(mhz):
        names = [names[at] for at in starts]
    elif len(names) != len(starts):
        return 0  # Labels above some other number of tables.
    for name, at, stop in list(zip(names, starts, [*starts[1:], len(mhz)], strict=True))[:60]:
        parameter, _ = parameter_of(heading.read(str(name)), around)
        if parameter:
            votes[shape.agrees(parameter, shape.shape(mhz[at:stop], s.profile.values[at:stop]))] += 1
    if votes[-1] > 0.2 * votes.total():
        return -1
    return 1 if votes[1] > 0.5 * votes.total() else 0


def _by_shape(s: Seen, around: Surroundings, role: Roles, mhz: Any, seen: list[Seen]) -> Placed:
    """A column of points whose heading names no quantity: the shape of its curve says what it may be."""

    if s.profile.numeric < 0.9:
        return nowhere(s)
    found = shape.shape(first_run(mhz, mhz), first_run(s.profile.values, mhz))
    parameter, score, why = shape.guess(found)
    if not parameter:
        return nowhere(s, "no quantity is named, and the curve has no clear shape")
    quals, cap, _ = qualify(s, parameter, around, role)
    if not quals.get("pairing") and "pairing" not in role.keys:
        score = min(score, 0.4)
    del seen
    return Placed(
        s, Target("sweeps", parameter, **quals), "", round(min(score, cap), 2), f"no quantity is named; the curve {why}"
    )


def curve(s: Seen, role: Roles, around: Surroundings, found: Found) -> Placed:
    """A column of a table whose rows are whole curves."""
    h = s.heading
    if s.profile.lists > 0.8:
        if "frequency" in h.modifiers:
            unit, cells, why = frequency_unit_of_list(s)
            return Placed(s, Target("row", "frequencies"), unit, sure(h, cells), f"a list of frequencies; {why}")
        parameter, how = parameter_of(h, around)
        if parameter and "parameter" not in role.keys:
            return scalar_column(s, parameter, how, around, role, "worst_value") or nowhere(s)
        name = "limit" if "limit" in h.modifiers else "margin" if "margin" in h.modifiers else "values"
        return Placed(
            s,
            Target("row", name),
            "",
            sure(h, STRONG if h.modifiers or h.unit else NEUTRAL, text=True),
            "lists of numbers",
        )
    for name in ("start", "stop", "step", "count"):
        if name in h.modifiers and s.profile.numeric > 0.9:
            unit = h.unit if h.unit not in ("", "MHz") else ""
            return Placed(
                s,
                Target("row", name),
                unit,
                sure(h, STRONG if h.unit or name == "count" else NEUTRAL),
                f"{name} of each axis",
            )
    del found
    parameter, how = parameter_of(h, around)
    if parameter == "velocity":
        return nvp(s)
    return (
        place_fact(s, True, s is role.label)
        or (scalar_column(s, parameter, how, around, role, "worst_value") if parameter else None)
        or nowhere(s)
    )


def link_headings(out: PlacedTable, found: Found, around: Surroundings) -> None:
    """Columns of points whose headings are the labels of links: what they are values of stands above the table."""
    from archive.formats.mapping.headings import HEADING, VALUE

    context = heading.read(*found.context) if found.context else heading.read("")
    parameter, _ = parameter_of(context, around)
    role = out.roles
    keyed = {id(s) for s in role.keys.values()} if role is not None else set()
    mine = [p for p in out.placed if id(p.seen) not in keyed and p.seen.source in around.links]
    if role is None or not parameter or not is_curve(parameter) or len(mine) < 2:
        return
    out.placed = [p for p in out.placed if p not in mine]
    column, first = mine[0].seen.column, mine[0].seen

    def gathered(name: str) -> Seen:
        return Seen(type(column)(name, ("",), []), heading.read(""), first.profile, heading.read(""), heading.read(""))

    mhz = role.keys["frequency"].profile.values
    agrees = shape.agrees(parameter, shape.shape(first_run(mhz, mhz), first_run(first.profile.values, mhz)))
    per = vocabulary.parameter(parameter).per
    pair = paired.resolve(context.pairs, around.scheme.name, per == "ordered") if context.pairs else ""
    pair = pair if ("/" in pair) == (per in ("combination", "ordered")) else ""
    to = Target("sweeps", parameter, end=(context.ends or [""])[0], pairing=pair)
    score = 0.95 if agrees > 0 else 0.5 if agrees < 0 else 0.9
    if per in ("pair", "combination", "ordered"):
        score = min(score, around.scheme.confidence if pair else 0.6)
    cells = {"cells": sum(p.seen.profile.filled for p in mine)}
    why = f"the title says {vocabulary.parameter(parameter).name}, the headings are links"
    found.headings_are = "links"
    out.placed.append(Placed(gathered(HEADING), Target("records", "link_label"), "", 0.95, "labels of other tables"))
    out.placed.append(Placed(gathered(VALUE), to, "", round(score, 2), why, cells, what="value"))


def frequency_headings(out: PlacedTable, found: Found, around: Surroundings) -> None:
    """Columns whose headings are frequencies: together they are one list per row."""
    from archive.formats.mapping.headings import VALUES, frequency_of

    mine = [p for p in out.placed if frequency_of(p.seen.source) is not None]
    if not mine:
        return
    out.placed = [p for p in out.placed if p not in mine]
    names = [p.seen.source for p in mine]
    top = max(frequency_of(n) or 0 for n in names)
    unit, why = "MHz", "headings are frequencies"
    written = re.search(r"([kMG]?Hz)", names[0])
    if not written:
        for name, low, high in (("MHz", 10, 3000), ("kHz", 1e4, 3e6), ("Hz", 1e7, 3e9)):
            if low <= top <= high:
                unit = name
    first = mine[0]
    column = first.seen.column
    gathered = Seen(
        type(column)(VALUES, column.levels, []),
        first.seen.heading,
        first.seen.profile,
        first.seen.own,
        first.seen.inner,
    )
    role = out.roles
    assert role is not None
    options = {"frequency_unit": unit, "cells": sum(p.seen.profile.filled for p in mine)}
    if "parameter" in role.keys:
        score = 0.95 if all(p.seen.profile.numeric > 0.9 for p in mine) else 0.7
        out.placed.append(Placed(gathered, Target("row", "values"), "", score, why, options, what="value"))
        return
    context = heading.read(*found.context) if found.context else heading.read("")
    parameter, _ = parameter_of(context, around)
    if parameter:
        out.placed.append(
            Placed(gathered, Target("sweeps", parameter, end=(context.ends or [""])[0]), "", 0.9, why, options)
        )
    else:
        out.placed.append(Placed(gathered, None, "", 0.0, "curves of a quantity that nothing names", options))
