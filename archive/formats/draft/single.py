"""Places a label, or a column of single values: facts, scalars, worst cases."""

from __future__ import annotations

import re

import numpy as np

from archive.formats.base import dates
from archive.formats.draft import heading
from archive.formats.draft.facts import Placed, nowhere, place_fact
from archive.formats.draft.layout import nameless
from archive.formats.draft.measures import (
    Surroundings,
    by_unit,
    frequency_unit_of_list,
    parameter_of,
    scalar_column,
    velocity_unit,
)
from archive.formats.draft.roles import Roles, Seen
from archive.formats.draft.sure import STRONG, sure
from archive.formats.mapping.build.scalars import is_curve
from archive.formats.mapping.target import Target

_OF_AXIS = frozenset(("start", "stop", "step", "count"))
_AXIS = Target("axes", "frequencies_mhz")


_UNNAMED = re.compile(r"^column \d+(?: \(\d+\))?$|, unit$")


def scalar(
    s: Seen,
    around: Surroundings,
    role: Roles | None,
    families: dict[tuple[str, str, str], set[str]],
    long: bool,
    seen: list[Seen],
    link: bool = False,
) -> Placed:
    """A label, or a column of a table of links or of readings."""
    h = s.heading
    if nameless(s.source) or _UNNAMED.search(s.source):
        return nowhere(s, "has no name")
    if "frequency" in h.modifiers and s.profile.rising and not heading.read(s.column.levels[-1]).parameters:
        unit, cells, why = frequency_unit_of_list(s)
        to = Target("row", "frequencies") if role is not None and role.rows != "links" else _AXIS
        return Placed(s, to, unit, sure(h, cells), f"a list of rising frequencies; {why}")
    parameter, how = parameter_of(h, around)
    if not parameter:
        parameter = by_unit(s.inner, around)
        how = "taken" if parameter else how
    label = link or (role is not None and s is role.label)
    fact = (
        place_fact(s, long, label)
        if (h.fields or label) and not (parameter and h.fields in (["verdict"], ["limit_name"]))
        else None
    )
    if not parameter and (fact is None or fact.confidence < 0.5):
        parameter = _inherited(s, seen, around)
        how = "inherited" if parameter else how
    if not parameter and around.fiber and h.unit == "dB" and h.modifiers & {"limit", "margin", "value"}:
        parameter, how = "optical_loss", "named"
    measured: Placed | None = None
    if parameter == "velocity" and not h.pairs and not (role and "pairing" in role.keys):
        measured = nvp(s)
    elif parameter:
        kind = _kind(s, families.get((parameter, "", ""), set()))
        measured = scalar_column(s, parameter, how, around, role, kind)
        last = heading.read(s.column.levels[-1]) if len(s.column.levels) > 1 else None
        if (
            measured is not None
            and last is not None
            and (_OF_AXIS & last.modifiers or (last.unknown and not _says(last)))
        ):
            # "points = 60" below a heading that says NEXT is no value of it.
            measured.confidence = min(measured.confidence, 0.45)
            measured.reason += f"; {s.column.levels[-1]!r} is no word of a value"
        if measured is not None and how == "inherited":
            measured.confidence = round(min(measured.confidence, 0.85), 2)
            measured.reason += "; the quantity is that of the column to its left"
    if measured is not None and measured.what == "verdict" and _of_record(s, seen):
        # The last column under a group of headings: its verdict may be that of the whole record.
        said = "a verdict, the only one, below the heading of a group"
        return Placed(s, Target("records", "reported_verdict"), "", 0.85, said, {})
    if fact is not None and (measured is None or fact.confidence >= measured.confidence):
        return fact
    if measured is not None:
        return measured
    if "wavelength" in h.modifiers and role is not None:
        return Placed(s, Target("row", "wavelength"), "", sure(h, STRONG), "wavelengths")
    return _unnamed(s, role) or nowhere(s)


def _says(h: heading.Heading) -> bool:
    """Whether a heading says anything of a value: its quantity, which of its values it is, its pair, end or unit."""
    return bool(h.parameters or h.generics or h.modifiers or h.fields or h.pairs or h.ends or h.unit or h.wavelength)


def _of_record(s: Seen, seen: list[Seen]) -> bool:
    """Whether a verdict takes its quantity from a group above it only, and is the only verdict of its table."""
    if len(s.column.levels) < 2 or s.column.outer or s.column.source.startswith(("@", "../")):
        return False
    inner = heading.read(s.column.levels[-1])
    if inner.parameters or inner.generics or "verdict" not in inner.fields or s is not seen[-1]:
        return False
    return not any(x is not s and x.profile.verdicts > 0.8 for x in seen)


def _kind(s: Seen, family: set[str]) -> str:
    h = s.heading
    if "margin" in h.modifiers:
        return "worst_margin"
    if "value" in h.modifiers and h.modifiers & {"worst", "maximum"}:
        return "worst_value"
    if "margin" in family or "limit" in family:
        return "worst_margin"
    return "worst_value"


def _inherited(s: Seen, seen: list[Seen], around: Surroundings) -> str:
    """The quantity of the column to the left, for headings such as "at MHz" and "pair" that name none."""
    h = s.heading
    if not (h.modifiers & {"frequency", "pair", "end", "limit", "margin", "verdict", "value", "worst"} or h.unit) or (
        h.fields and h.fields not in (["verdict"], ["limit_name"])
    ):
        return ""
    if s.inner.unknown:
        return ""  # A quantity of its own, in a word that nobody knows.
    at = next(i for i, x in enumerate(seen) if x is s)
    for other in reversed(seen[max(0, at - 5) : at]):
        parameter, _ = parameter_of(other.heading, around)
        if parameter:
            return parameter if is_curve(parameter) else ""
        if other.heading.fields and not other.heading.modifiers:
            return ""
    return ""


def nvp(s: Seen) -> Placed:
    """The nominal velocity of a link."""

    values = s.profile.values[np.isfinite(s.profile.values)]
    unit, cells, why = velocity_unit(values, s.heading.unit)
    to = Target("records", "velocity_percent")
    return Placed(s, to, "" if unit == "%" else unit, sure(s.heading, cells), f"heading says nominal velocity; {why}")


def _unnamed(s: Seen, role: Roles | None) -> Placed | None:
    """A column whose heading says nothing, by what its cells are."""
    p, h = s.profile, s.heading
    if h.unknown and len(h.unknown) > 2:
        return None
    if p.verdicts == 1 and len(p.distinct) <= 4 and p.filled > 1 and not h.parameters:
        return Placed(
            s, Target("records", "reported_verdict"), "", 0.7, "the heading says nothing, the cells are verdicts"
        )
    if p.limits > 0.9 and not p.cables > 0.9:
        return Placed(
            s, Target("records", "limit_found"), "", 0.6, "the heading says nothing, the cells name standards"
        )
    if p.dates and "hh" in p.dates[0] + "hh" * (p.dates[0] == "ISO") and not h.fields and p.filled > 1:
        options = {"format": p.dates[0]} if len(p.dates) == 1 else {"format": "words", "ask": " or ".join(p.dates[:2])}
        to = Target("records", "tested_found")
        return Placed(s, to, "", 0.7, "the heading says nothing, the cells are times", options)
    counted = dates.counts_for(p.distinct[:300]) if p.numeric > 0.9 and p.filled > 1 and not h.parameters else []
    if counted and not counted[0].startswith("days"):
        said = f"the heading says no date, but all cells are times as {counted[0]}"
        return Placed(s, Target("records", "tested_found"), "", 0.7, said, {"format": counted[0]})
    del role
    return None
