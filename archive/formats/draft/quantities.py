"""Which quantity a measured column is of, which of its values, which pair and end, and in which unit."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from archive import vocabulary
from archive.formats.base import units
from archive.formats.draft import paired, shape
from archive.formats.draft.columns import Seen
from archive.formats.draft.heading import Heading
from archive.formats.draft.hypotheses import AGAINST, NEUTRAL, STRONG, WEAK, hypotheses
from archive.formats.draft.placing import Meaning, Surroundings
from archive.formats.draft.profile import profile

ORIGINS = {"limit": "limit", "margin": "margin"}
"""Origin of a reading or curve, by which of a quantity's values it is."""


@dataclass
class Quals:
    """End, pair, direction, wavelength that a heading says (at), how far they may be trusted, what is missing."""

    at: dict[str, str] = field(default_factory=dict)
    most: float = 1.0
    missing: str = ""

    def cap(self, most: float) -> None:
        """No surer than that."""
        self.most = min(self.most, most)


@dataclass(frozen=True)
class InUnit:
    """Unit of a column ("" for that of the tables), what the cells say of it, and why."""

    name: str
    cells: str
    why: str


def parameter_of(h: Heading, around: Surroundings) -> tuple[str, bool]:
    """The quantity a heading names ("" where it names none), and whether it names it itself: what says "loss" alone
    takes it from the surroundings."""
    known = hypotheses().meaning
    power_sum = "power_sum" in h.modifiers
    if h.parameters:
        found = h.parameters[0]
        found = known["power_sum"].get(found, found) if power_sum else found
        if "average" in h.modifiers and f"{found}_average" in vocabulary.parameters():
            found = f"{found}_average"
        return (known["fiber"].get(found, found) if around.fiber else found), True
    for generic in h.generics:
        found = known["generic_fiber" if around.fiber else "generic_copper"][generic]
        found = known["power_sum"].get(found, found) if power_sum else found
        return found, generic == "loss" and around.fiber
    maybe = {m.id for m in h.maybe if m.kind == "parameter"}
    told = h.unit or h.pairs or h.ends or h.modifiers or not h.fields
    return (maybe.pop(), False) if len(maybe) == 1 and told else ("", False)


def by_unit(h: Heading, around: Surroundings) -> str:
    """The quantity of a copper link that a heading of nothing but a unit, and perhaps a pair, stands for; or ""."""
    other = h.parameters or h.generics or h.fields or h.unknown or h.modifiers - ({"pair"} if h.pairs else set())
    return "" if around.fiber or not h.unit or other else hypotheses().meaning["unit_alone"].get(h.unit, "")


def by_unit_and_size(s: Seen, around: Surroundings) -> str:
    """The quantity of a copper link that its unit stands for, under a heading that nobody knows; or ""."""
    h = s.inner
    if around.fiber or h.generics or h.fields or h.modifiers - {"pair"} or not s.numeric:
        return ""
    unit = units.units().get(h.unit or s.profile.unit)
    found = hypotheses().meaning["unit_alone"].get(unit.name, "") if unit is not None else ""
    if unit is None or not found or (h.parameters and _fits(unit, h.parameters[0])):
        return ""
    values = s.profile.values[np.isfinite(s.profile.values)]
    if found == "propagation_delay" and inside(found, values) < 2 and inside("delay_skew", values) == 2:
        return "delay_skew"
    return found if inside(found, unit.ours(values)) == 2 else ""


def by_ratio(s: Seen, around: Surroundings) -> str:
    """The quantity of numbers without word and unit that grow with the lengths as a delay or a loop does; or ""."""
    h = s.inner
    if around.fiber or around.lengths is None or not s.numeric or h.unit or s.profile.unit:
        return ""
    if h.parameters or h.generics or h.fields or h.modifiers - {"pair"} or not h.pairs:
        return ""
    for unit in ("m", "ft") if around.length_unknown else ("m",):
        ratio = per_metre(s.profile.values, units.units()[unit].ours(around.lengths))
        for name, known in hypotheses().per_metre.items():
            if within(ratio, known):
                return name
    return ""


def per_metre(values: Any, lengths: Any) -> float:
    """Median of values over lengths in m; NaN where they do not grow together, within a fifth."""
    if len(values) != len(lengths):
        return float("nan")
    ok = np.isfinite(values) & np.isfinite(lengths) & (lengths > 0) & (values > 0)
    ratios = values[ok] / lengths[ok]
    if len(ratios) < 2 or np.ptp(lengths[ok]) == 0 or len(ratios) < 0.9 * len(values):
        return float("nan")
    middle = float(np.median(ratios))
    return middle if float(np.abs(ratios / middle - 1).max()) < 0.2 else float("nan")


def within(value: float, known: tuple[float, float]) -> bool:
    """Whether a value is within two bounds."""
    return known[0] <= value <= known[1]


def either_time(s: Seen, parameter: str) -> bool:
    """Whether numbers of a time may be delays or skews by their size."""
    values = s.profile.values[np.isfinite(s.profile.values)]
    timed = parameter in ("propagation_delay", "delay_skew")
    return timed and inside("propagation_delay", values) == 2 and inside("delay_skew", values) == 2


def contradicted(s: Seen, parameter: str) -> bool:
    """Whether the unit of numbers is of another dimension than the quantity that words name: ns of a temperature."""
    unit = units.units().get(s.inner.unit or s.profile.unit)
    return s.numeric and unit is not None and not _fits(unit, parameter)


def _fits(unit: units.Unit, parameter: str) -> bool:
    return unit.dimension in (units.dimension(vocabulary.parameter(parameter).unit), "ratio")


def by_light(s: Seen, around: Surroundings) -> str:
    """The quantity of a link of fibre whose heading says a wavelength or a direction and nothing else; or ""."""
    h = s.heading
    other = h.parameters or h.generics or h.fields or h.unknown or h.ends or h.modifiers - {"value"}
    if not around.fiber or other or h.unit not in ("", "dB") or not (h.wavelength or h.directions) or not s.numeric:
        return ""
    found = hypotheses().meaning["light_alone"]["loss"]
    return found if inside(found, s.profile.values[np.isfinite(s.profile.values)]) == 2 else ""


def dimension_of(name: str) -> str:
    """Dimension of a unit, or ""."""
    found = units.units().get(name)
    return found.dimension if found is not None else ""


def what_of(s: Seen) -> str:
    """Which of a quantity's values a column holds: value, limit, margin, frequency, pairing, end, verdict, or ""."""
    h, p = s.heading, s.profile
    if p.verdicts > 0.8 and p.numeric < 0.2:
        return "verdict"
    of_frequency = dimension_of(h.unit) == "frequency" or ("frequency" in h.modifiers and not h.unit)
    if p.numeric > 0.7 and of_frequency:
        return "frequency"
    own = s.inner.modifiers & {"margin", "limit"}
    if p.numeric < 0.5 or ("pair" in h.modifiers and not h.pairs and not own):
        said = _of_point(s)
        if said:
            return said
    if p.numeric < 0.7 and p.lists < 0.5:
        return ""
    if "margin" in h.modifiers:
        return "margin"
    return "limit" if "limit" in h.modifiers or "limit_name" in h.fields else "value"


def _of_point(s: Seen) -> str:
    """pairing or end, where the cells are such."""
    h, p = s.heading, s.profile
    if _all_pairs(p.distinct) and ("pair" in h.modifiers or p.numeric < 0.5 or _all_pairs(p.distinct, True)):
        return "pairing"
    known = p.meanings("end")
    if (known and len(known) == len(p.distinct)) or ("end" in h.modifiers and len(p.distinct) <= 3):
        return "end"
    return ""


def _all_pairs(distinct: Sequence[str], strict: bool = False) -> bool:
    some = [paired.plain(c) for c in distinct[:60]]
    if strict:
        return bool(some) and all(" " in x or x in ("12", "36", "45", "78") for x in some)
    return bool(some) and sum(bool(x) for x in some) >= 0.8 * len(some)


def _keyed(meaning: Meaning | None, name: str) -> bool:
    return meaning is not None and name in meaning.keys


def qualify(s: Seen, parameter: str, around: Surroundings, meaning: Meaning | None) -> Quals:
    """What a heading says of end, pair, direction and wavelength."""
    h, p, out = s.heading, vocabulary.parameter(parameter), Quals()
    # What has no ends has none from a title or the name of a project, such as "Remote Works".
    ends = h.ends if p.ends else s.own.ends
    letters = [x for x in h.letters if x in around.ends]
    if ends:
        out.at["end"] = ends[0]
        out.cap(0.6 if len(set(ends)) > 1 else 1.0)
    elif p.ends and h.pairs and (s.own.unknown or s.own.letters) and not letters and not _keyed(meaning, "end"):
        out.cap(0.45)  # What else the heading says may be the end.
    elif letters:
        h.letters = [x for x in h.letters if x not in letters]
        out.at["end"] = around.ends[letters[-1]]
        out.cap(0.93)
    if h.directions and (p.per == "fiber" or around.fiber):
        out.at["direction"] = h.directions[0]
    if h.wavelength:
        out.at["wavelength"] = h.wavelength
    if p.per == "fiber" and len(h.letters) == 1 and not h.pairs and not letters and h.wavelength:
        out.at["subject"] = f"fiber {h.letters[0].upper()}"
    elif h.pairs and p.per == "fiber":
        out.at["subject"] = f"fiber {h.pairs.replace(' ', '')}"
        out.cap(0.8)
    elif h.pairs:
        _pair(out, h.pairs, p.per, around)
    keyed = meaning is not None and ("pairing" in meaning.keys or "disturbed" in meaning.keys)
    pairwise = p.per in ("combination", "ordered", "pair")
    if not h.pairs and not keyed and pairwise and meaning is not None and meaning.rows == "points":
        out.missing = out.missing or "no pair is named"
    return out


def _pair(out: Quals, written: str, per: str, around: Surroundings) -> None:
    """Adds the pair or combination that a heading writes."""
    found = paired.resolve(written, around.scheme.name, per == "ordered")
    if not found:
        out.cap(0.5)
        out.missing = f"pair {written} is not known"
        return
    out.at["pairing"] = found
    fits = ("/" in found) == (per in ("combination", "ordered"))
    out.cap(min(around.scheme.confidence, 0.92 if per == "ordered" else 1.0) if fits else 0.7)


def unit_of(s: Seen, parameter: str, what: str, around: Surroundings) -> InUnit:
    """Unit of a column, and whether the cells speak for it."""
    ours = vocabulary.parameter(parameter).unit
    named = s.heading.unit or s.profile.unit
    unit = units.units().get(named) if named else None
    values = s.profile.values[np.isfinite(s.profile.values)]
    if unit is not None and unit.dimension != units.dimension(ours):
        if unit.dimension == "ratio" and parameter == "velocity":
            return InUnit(named, STRONG, f"unit {named}")
        return InUnit("", AGAINST, f"unit {named} is none of {vocabulary.parameter(parameter).name}")
    if what == "margin" or ours in ("dB", "dBm"):
        size = float(np.abs(values).max()) if len(values) else 0.0
        fits = size < hypotheses().decibel.possible
        return InUnit(named or ours, STRONG if fits else AGAINST, f"unit {named or ours}")
    if parameter == "velocity":
        return velocity_unit(values, named)
    if unit is not None:
        return InUnit(named, STRONG if inside(parameter, unit.ours(values)) >= 0 else AGAINST, f"unit {named}")
    return _guessed_unit(s, parameter, values, around)


def velocity_unit(values: Any, named: str) -> InUnit:
    """Unit of a nominal velocity."""
    known = hypotheses().velocity
    top = float(values.max()) if len(values) else 0.0
    if known.fraction[0] <= top <= known.fraction[1]:
        return InUnit("fraction", STRONG, "fractions of the speed of light")
    if known.percent[0] <= top <= known.percent[1]:
        return InUnit("%", STRONG, "per cent of the speed of light")
    return InUnit(named or "%", AGAINST, "no velocity")


def _guessed_unit(s: Seen, parameter: str, values: Any, around: Surroundings) -> InUnit:
    """Physics where no unit is written: delay over length gives a velocity."""
    ours = vocabulary.parameter(parameter).unit
    if parameter == "length" and around.delays is not None:
        for name in ("m", "ft"):
            share = shape.velocity(units.units()[name].ours(s.profile.values), around.delays)
            if shape.likely_velocity(share):
                why = f"no unit is written; in {name} the delays give {share:.2f} of the speed of light"
                return InUnit(name, STRONG, why)
    if parameter == "length" and around.loops is not None:
        for name in ("m", "ft"):
            ratio = per_metre(around.loops, units.units()[name].ours(s.profile.values))
            if within(ratio, hypotheses().per_metre["loop_resistance"]):
                return InUnit(name, STRONG, f"no unit is written; in {name} the loops have {ratio:.2f} ohm in a metre")
    if parameter == "propagation_delay" and around.lengths is not None:
        for name in ("m", "ft") if around.length_unknown else ("m",):
            share = shape.velocity(units.units()[name].ours(around.lengths), s.profile.values)
            if shape.likely_velocity(share):
                why = f"no unit is written; in ns the lengths give {share:.2f} of the speed of light"
                return InUnit("ns", STRONG, why)
    known = inside(parameter, values)
    if parameter == "length":
        return InUnit(ours, WEAK if known >= 0 else AGAINST, "no unit is written; metres are assumed")
    sure = known >= 2 and parameter != "propagation_delay"
    cells = STRONG if sure else NEUTRAL if known >= 1 else AGAINST
    return InUnit(ours, cells, f"no unit is written; usual values in {ours}")


def inside(parameter: str, values: Any) -> int:
    """2: all usual; 1: most, or nothing is known; 0: possible; -1: impossible. values: float64, in the tables' unit."""
    known = hypotheses().quantity.get(parameter)
    if known is None or not len(values):
        return 1
    if ((values < known.possible[0]) | (values > known.possible[1])).mean() > 0.05:
        return -1
    usual = float(((values >= known.usual[0]) & (values <= known.usual[1])).mean())
    return 2 if usual == 1 else 1 if usual > 0.8 else 0


def frequency_unit(s: Seen) -> InUnit:
    """Unit of a column of frequencies ("" for MHz): as written, else by their size."""
    for named in (s.heading.unit, s.profile.unit):
        if dimension_of(named) == "frequency":
            return InUnit("" if named == "MHz" else named, STRONG, f"frequencies in {named}")
    finite = s.profile.values[np.isfinite(s.profile.values)]
    top = float(finite.max()) if len(finite) else 0.0
    for name, (low, high) in hypotheses().frequency.items():
        if low <= top <= high:
            cells = WEAK if name == "GHz" else STRONG
            return InUnit("" if name == "MHz" else name, cells, f"no unit is written; up to {top:g} are {name}")
    return InUnit("", WEAK, "no unit is written")


def frequency_unit_of_list(s: Seen) -> InUnit:
    """Unit of lists of frequencies."""
    first: Any = next((c for c in s.column.cells[:3] if c is not None), [])
    if isinstance(first, str) and s.profile.encoding not in ("", "pairs"):
        from archive.formats.mapping.build.cell_arrays import decoded

        first = [float(x) for x in decoded(first, s.profile.encoding)]
    if isinstance(first, str):
        first = [float(x.replace(",", ".")) for x in re.findall(r"\d+(?:[.,]\d+)?", first)]
    return frequency_unit(Seen(s.column, s.heading, profile([str(x) for x in first]), s.own, s.inner))
