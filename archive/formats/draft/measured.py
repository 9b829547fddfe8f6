"""Where measured columns may go: readings, worst cases, points of curves, whole curves."""

from __future__ import annotations

import numpy as np

from archive import vocabulary
from archive.formats.base import words
from archive.formats.draft import heading, shape
from archive.formats.draft.columns import Seen
from archive.formats.draft.hypotheses import AGAINST, NEUTRAL, STRONG, WEAK, doubt, score_of
from archive.formats.draft.placing import Meaning, Placed, Surroundings, spoken
from archive.formats.draft.quantities import (
    ORIGINS,
    InUnit,
    Quals,
    by_light,
    by_ratio,
    by_unit,
    by_unit_and_size,
    contradicted,
    either_time,
    frequency_unit,
    frequency_unit_of_list,
    parameter_of,
    qualify,
    unit_of,
    velocity_unit,
    what_of,
)
from archive.formats.mapping.build.scalars import is_curve
from archive.formats.mapping.target import Target

_NO_SHAPE = frozenset(("tcl", "tctl", "eltctl"))
"""Quantities of balance: their curves have no shape of their own."""


def point_of_curve(s: Seen, parameter: str, direct: bool, around: Surroundings, meaning: Meaning) -> Placed | None:
    """A column of a table whose rows are frequencies, of a quantity that its heading names."""
    h, p = s.heading, s.profile
    if p.numeric < 0.7 and not p.censored:
        return None
    what = "margin" if "margin" in h.modifiers else "value"
    if what == "value" and ("limit" in h.modifiers or "limit_name" in h.fields):
        what = "limit"
    quals, unit = qualify(s, parameter, around, meaning), unit_of(s, parameter, what, around)
    mhz = meaning.keys["frequency"].profile.values
    found = shape.shape(shape.first_run(mhz, mhz), shape.first_run(p.values, mhz))
    agrees = shape.agrees(parameter, found, what == "margin")
    reason, cells = f"heading says {vocabulary.parameter(parameter).name}", unit.cells
    if not direct:
        quals.cap(0.6 if h.unknown else 0.95 if agrees > 0 else 0.7)
    if agrees > 0:
        reason += "; the curve has its shape"
    elif agrees < 0:
        cells, reason = AGAINST, f"{reason}; the curve has another shape"
    elif found is not None and what == "value" and parameter not in _NO_SHAPE and cells == STRONG:
        cells = NEUTRAL
    if quals.missing:
        quals.cap(0.93 if what == "limit" else 0.6)
        reason += f"; {quals.missing}"
    to = Target("sweeps", parameter, origin=ORIGINS.get(what, ""), **quals.at)
    reason = f"{_scheme_said(reason, s, around)}; {unit.why}"
    return Placed(s, to, _shown(unit.name, parameter), spoken(s, cells), reason, what=what).at_most(quals.most)


def _shown(unit: str, parameter: str) -> str:
    """A unit as the mapping states it: "" where it is that of the tables."""
    return "" if unit == vocabulary.parameter(parameter).unit else unit


def _scheme_said(reason: str, s: Seen, around: Surroundings) -> str:
    doubtful = s.heading.pairs and around.scheme.confidence < 0.9
    return f"{reason}; {around.scheme.reason}" if doubtful else reason


def by_shape(s: Seen, around: Surroundings, meaning: Meaning) -> Placed | None:
    """A column of points whose heading names no quantity: the shape of its curve says what it may be."""
    if not s.numeric:
        return None
    mhz = meaning.keys["frequency"].profile.values
    parameter, likely, why = shape.guess(shape.shape(shape.first_run(mhz, mhz), shape.first_run(s.profile.values, mhz)))
    if not parameter:
        return None
    quals = qualify(s, parameter, around, meaning)
    if not quals.at.get("pairing") and "pairing" not in meaning.keys:
        quals.cap(0.4)
    reason = f"no quantity is named; the curve {why}"
    return Placed(s, Target("sweeps", parameter, **quals.at), "", score_of(likely), reason, what="value").at_most(
        quals.most
    )


def single(
    s: Seen, parameter: str, direct: bool, around: Surroundings, meaning: Meaning | None, kind: str
) -> Placed | None:
    """A column of single values: a reading of a scalar, a part of the worst case of a curve, lists that are curves.

    kind: of the worst case, where the heading does not say it.
    """
    h, p, what = s.heading, s.profile, what_of(s)
    if states := _states(s, parameter):
        to = Target("reported", parameter, "verdict", kind="overall")
        said = f"heading says {vocabulary.parameter(parameter).name}; its words are verdicts"
        return Placed(s, to, "", spoken(s, STRONG), said, {"words": states}, what="verdict")
    if not what:
        return None
    quals = qualify(s, parameter, around, meaning)
    if not direct:
        quals.cap(doubt(_indirect(s, parameter, around)))
    named = "heading says" if parameter_of(h, around)[0] else "no quantity is named; taken for"
    reason = _scheme_said(f"{named} {vocabulary.parameter(parameter).name}", s, around)
    if quals.missing and h.pairs:
        quals.cap(0.45)
        reason += f"; {quals.missing}"
    if p.lists > 0.8 and is_curve(parameter):
        to = Target("sweeps", parameter, origin=ORIGINS.get(what, ""), **quals.at)
        why = f"{reason}; lists of numbers"
        return Placed(s, to, "", spoken(s, STRONG), why, what="value").at_most(quals.most)
    if what in ("value", "limit", "margin"):
        return _value(s, parameter, what, kind, quals, unit_of(s, parameter, what, around), reason)
    if what == "verdict":
        to = Target("reported", parameter, "verdict", kind="overall", **quals.at)
        why = f"{reason}; verdicts in the cells"
        return Placed(s, to, "", spoken(s, STRONG), why, what=what).at_most(quals.most)
    if not is_curve(parameter):
        return None
    return _of_worst(s, Target("reported", parameter, what, kind=kind, **quals.at), what, quals, reason, around)


def _states(s: Seen, parameter: str) -> dict[str, str]:
    """Words of the cells that are verdicts under this quantity alone, such as clean of an end face; else nothing."""
    found = {c: m for c in s.profile.distinct if (m := words.meaning(c, f"verdict_{parameter}")) is not None}
    return found if len(found) == len(s.profile.distinct) else {}


def _indirect(s: Seen, parameter: str, around: Surroundings) -> str:
    """The doubt of a quantity that no word of its own names."""
    if around.fiber:
        return "light_unknown" if s.heading.unknown else "light"
    if s.heading.generics or s.heading.parameters:
        return "generic"
    return "unit_alone_time" if either_time(s, parameter) else "unit_alone"


def _value(s: Seen, parameter: str, what: str, kind: str, quals: Quals, unit: InUnit, reason: str) -> Placed:
    h = s.heading
    if h.frequency:
        quals.at["frequency"] = h.frequency
    if is_curve(parameter) and not h.frequency:
        to = Target("reported", parameter, what, kind=kind, **quals.at)
    else:
        to = Target("readings", parameter, origin=ORIGINS.get(what, ""), **quals.at)
    if h.modifiers & {"maximum", "average"} and not is_curve(parameter):
        quals.cap(0.6)
    out = Placed(s, to, _shown(unit.name, parameter), spoken(s, unit.cells), f"{reason}; {unit.why}", what=what)
    return out.at_most(quals.most)


def _of_worst(s: Seen, to: Target, what: str, quals: Quals, reason: str, around: Surroundings) -> Placed:
    """The frequency, pair or end of a worst case."""
    to = to.at(**({"pairing": ""} if what == "pairing" else {"end": ""} if what == "end" else {}))
    unit = InUnit(s.heading.unit if s.heading.unit != "MHz" else "", STRONG, f"{what} of the worst case")
    if what == "frequency" and not s.heading.unit:
        unit = frequency_unit(s)
        if unit.name == "GHz":
            # Worst cases often stand at the lowest frequency: small numbers are no gigahertz.
            unit = InUnit("", WEAK, "no unit is written; MHz are assumed")
    if what == "pairing":
        quals.cap(around.scheme.confidence)
    shown = unit.name if what == "frequency" else ""
    return Placed(s, to, shown, spoken(s, unit.cells), f"{reason}; {unit.why}", what=what).at_most(quals.most)


def nominal_velocity(s: Seen) -> Placed:
    """The nominal velocity of a link."""
    unit = velocity_unit(s.profile.values[np.isfinite(s.profile.values)], s.heading.unit)
    to, why = Target("records", "velocity_percent"), f"heading says nominal velocity; {unit.why}"
    return Placed(s, to, "" if unit.name == "%" else unit.name, spoken(s, unit.cells), why)


def curve_cell(s: Seen, around: Surroundings, meaning: Meaning) -> Placed | None:
    """A column of a table whose rows are whole curves: lists of numbers, or what their axis is made from."""
    h = s.heading
    if s.profile.lists > 0.8:
        if "frequency" in h.modifiers:
            unit = frequency_unit_of_list(s)
            to, why = Target("row", "frequencies"), f"a list of frequencies; {unit.why}"
            return Placed(s, to, unit.name, spoken(s, unit.cells), why)
        parameter, direct = parameter_of(h, around)
        if parameter and "parameter" not in meaning.keys:
            return single(s, parameter, direct, around, meaning, "worst_value")
        name = "limit" if "limit" in h.modifiers else "margin" if "margin" in h.modifiers else "values"
        cells = STRONG if h.modifiers or h.unit else NEUTRAL
        return Placed(s, Target("row", name), "", spoken(s, cells, free=True), "lists of numbers")
    for name in ("start", "stop", "step", "count"):
        if name in h.modifiers and s.numeric:
            unit_name = h.unit if h.unit not in ("", "MHz") else ""
            cells = STRONG if h.unit or name == "count" else NEUTRAL
            return Placed(s, Target("row", name), unit_name, spoken(s, cells), f"{name} of each axis")
    return None


def axis_list(s: Seen, meaning: Meaning | None) -> Placed | None:
    """A list of rising frequencies, of the record or of the row."""
    if "frequency" not in s.heading.modifiers or not s.profile.rising:
        return None
    if heading.read(s.column.levels[-1]).parameters:
        return None
    unit = frequency_unit_of_list(s)
    of_row = meaning is not None and meaning.rows != "links"
    to = Target("row", "frequencies") if of_row else Target("axes", "frequencies_mhz")
    return Placed(s, to, unit.name, spoken(s, unit.cells), f"a list of rising frequencies; {unit.why}")


def quantity_said(s: Seen, around: Surroundings) -> tuple[str, bool]:
    """The quantity of a column by its words or by its unit alone; whether it is said directly."""
    parameter, direct = parameter_of(s.heading, around)
    if not parameter:
        known = by_unit(s.inner, around) or by_unit_and_size(s, around)
        return known or by_ratio(s, around) or by_light(s, around), False
    if contradicted(s, parameter) and (other := by_unit_and_size(s, around)):
        return other, False
    return parameter, direct
