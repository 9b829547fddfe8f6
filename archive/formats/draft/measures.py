"""Where measured columns go: which quantity, which of its values, which pair, end and unit."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Any

import numpy as np

from archive import vocabulary
from archive.formats.base import units
from archive.formats.draft import paired, shape
from archive.formats.draft.facts import Placed
from archive.formats.draft.heading import Heading
from archive.formats.draft.paired import Scheme
from archive.formats.draft.profile import profile
from archive.formats.draft.roles import Roles, Seen
from archive.formats.draft.sure import AGAINST, NEUTRAL, STRONG, WEAK, sure
from archive.formats.mapping.build.scalars import is_curve
from archive.formats.mapping.target import Target

_PS = {
    "next": "ps_next",
    "acr_n": "ps_acr_n",
    "acr_f": "ps_acr_f",
    "fext": "ps_fext",
    "elfext": "ps_elfext",
    "anext": "ps_anext",
    "afext": "ps_afext",
    "aacr_f": "ps_aacr_f",
}

RANGES: dict[str, tuple[float, float, float, float]] = {
    "length": (0.3, 20000, 1, 150),
    "propagation_delay": (1, 100000, 5, 900),
    "delay_skew": (0, 500, 0, 80),
    "loop_resistance": (0, 200, 0.1, 45),
    "conductor_resistance": (0, 100, 0.05, 25),
    "resistance_unbalance": (0, 100, 0, 30),
    "resistance_difference": (0, 50, 0, 5),
    "impedance": (20, 300, 60, 160),
    "capacitance": (0, 1000, 0.1, 20),
    "temperature": (-60, 130, -30, 60),
    "velocity": (30, 100, 50, 90),
    "optical_loss": (-1, 60, -0.1, 30),
    "optical_return_loss": (5, 90, 10, 80),
    "optical_power": (-80, 30, -70, 15),
}
"""Lowest and highest value that can be, and that is usual, in the tables' unit. Judgement of the trade, no source."""


@dataclass
class Surroundings:
    """What the rest of the layout says: names of pairs, medium, decimal mark."""

    scheme: Scheme
    fiber: bool
    lengths: Any = None
    delays: Any = None
    length_unknown: bool = False
    """The unit of the lengths is not written."""
    ends: dict[str, str] | None = None
    """Single letters that name ends in headings of this layout, by letter."""
    links: frozenset[str] = frozenset()
    """Labels of links that tables of this layout hold."""


def parameter_of(h: Heading, around: Surroundings) -> tuple[str, str]:
    """The quantity a heading names, and how: "named", "taken" (by its surroundings), or ("", "")."""
    found, how = "", "named"
    if h.parameters:
        found = h.parameters[0]
        if "power_sum" in h.modifiers:
            found = _PS.get(found, found)
        if "average" in h.modifiers and f"{found}_average" in vocabulary.parameters():
            found = f"{found}_average"
        if around.fiber and found in ("insertion_loss", "return_loss"):
            found = {"insertion_loss": "optical_loss", "return_loss": "optical_return_loss"}[found]
    elif h.generics:
        how = "taken"
        if "loss" in h.generics and around.fiber:
            how = "named"
        if "loss" in h.generics:
            found = "optical_loss" if around.fiber else "insertion_loss"
        elif "resistance" in h.generics:
            found = "loop_resistance"
        elif "crosstalk" in h.generics:
            found = "ps_next" if "power_sum" in h.modifiers else "next"
    elif "power_sum" in h.modifiers:
        return "", ""
    return (found, how) if found else ("", "")


_BY_UNIT = {"ohm": "loop_resistance", "ns": "propagation_delay", "m": "length", "ft": "length"}


def by_unit(h: Heading, around: Surroundings) -> str:
    """The quantity of a copper link that a heading of nothing but a unit, and perhaps a pair, stands for; or ""."""
    other = h.parameters or h.generics or h.fields or h.unknown or h.modifiers - ({"pair"} if h.pairs else set())
    if around.fiber or not h.unit or other:
        return ""
    return _BY_UNIT.get(h.unit, "")


def what_of(s: Seen, parameter: str) -> str:
    """Which of a quantity's values a column holds: value, limit, margin, frequency, pairing, end, verdict and so on."""
    h, p = s.heading, s.profile
    unit = units.units().get(h.unit)
    if p.verdicts > 0.8 and p.numeric < 0.2:
        return "verdict"
    if p.numeric > 0.7 and (
        (unit is not None and unit.dimension == "frequency") or ("frequency" in h.modifiers and not h.unit)
    ):
        return "frequency"
    own = s.inner.modifiers & {"margin", "limit"}
    if p.numeric < 0.5 or ("pair" in h.modifiers and not h.pairs and not own):
        if _all_pairs(p.distinct) and ("pair" in h.modifiers or p.numeric < 0.5 or _all_pairs(p.distinct, True)):
            return "pairing"
        if p.meanings("end") and len(p.meanings("end")) == len(p.distinct):
            return "end"
        if "end" in h.modifiers and len(p.distinct) <= 3:
            return "end"
    if p.numeric < 0.7 and p.lists < 0.5:
        return ""
    if "margin" in h.modifiers:
        return "margin"
    if "limit" in h.modifiers or "limit_name" in h.fields:
        return "limit"
    del parameter
    return "value"


def _all_pairs(distinct: list[str], strict: bool = False) -> bool:
    some = [paired.plain(c) for c in distinct[:60]]
    if strict:
        return bool(some) and all(" " in x or x in ("12", "36", "45", "78") for x in some)
    return bool(some) and sum(bool(x) for x in some) >= 0.8 * len(some)


def qualify(s: Seen, parameter: str, around: Surroundings, roles: Roles | None) -> tuple[dict[str, str], float, str]:
    """End, pairing, direction and wavelength that a heading says; how far they may be trusted; what is missing."""
    h, p = s.heading, vocabulary.parameter(parameter)
    out: dict[str, str] = {}
    cap, missing = 1.0, ""
    # What has no ends has none from a title or the name of a project, such as "Remote Works".
    ends = h.ends if p.ends else s.own.ends
    if ends:
        out["end"] = ends[0]
        if len(set(ends)) > 1:
            cap = 0.6
    elif around.ends:
        letters = [x for x in h.letters if x in around.ends]
        if letters:
            h.letters = [x for x in h.letters if x not in letters]
            out["end"] = around.ends[letters[-1]]
            cap = min(cap, 0.93)
    if (h.directions and p.per == "fiber") or (h.directions and around.fiber):
        out["direction"] = h.directions[0]
    if h.wavelength:
        out["wavelength"] = h.wavelength
    if h.pairs and p.per != "fiber":
        ordered = p.per == "ordered"
        found = paired.resolve(h.pairs, around.scheme.name, ordered)
        if found and ("/" in found) == (p.per in ("combination", "ordered")):
            out["pairing"] = found
            cap = min(cap, around.scheme.confidence)
            if ordered:
                cap = min(cap, 0.92)
        elif found:
            out["pairing"] = found
            cap = min(cap, 0.7)
        else:
            cap = min(cap, 0.5)
            missing = f"pair {h.pairs} is not known"
    elif h.pairs and p.per == "fiber":
        out["subject"] = f"fiber {h.pairs.replace(' ', '')}"
        cap = min(cap, 0.8)
    keyed = roles is not None and ("pairing" in roles.keys or "disturbed" in roles.keys)
    if (
        not h.pairs
        and not keyed
        and p.per in ("combination", "ordered", "pair")
        and roles is not None
        and roles.rows == "points"
    ):
        missing = missing or "no pair is named"
    return out, cap, missing


def unit_of(s: Seen, parameter: str, what: str, around: Surroundings) -> tuple[str, int, str]:
    """Unit of a column, whether the cells speak for it, and why."""
    h, p = s.heading, s.profile
    ours = vocabulary.parameter(parameter).unit
    named = h.unit or p.unit
    unit = units.units().get(named) if named else None
    if unit is not None and unit.dimension != units.dimension(ours):
        if unit.dimension == "ratio" and parameter in ("velocity",):
            return named, STRONG, f"unit {named}"
        return "", AGAINST, f"unit {named} is none of {vocabulary.parameter(parameter).name}"
    values = p.values[np.isfinite(p.values)]
    if what == "margin" or ours in ("dB", "dBm"):
        size = float(np.abs(values).max()) if len(values) else 0.0
        return (named or ours), (STRONG if size < 160 else AGAINST), f"unit {named or ours}"
    if parameter == "velocity":
        return velocity_unit(values, named)
    if unit is not None:
        inside = _inside(parameter, unit.ours(values))
        return named, (STRONG if inside >= 0 else AGAINST), f"unit {named}"
    return _guess_unit(s, parameter, values, around)


def velocity_unit(values: Any, named: str) -> tuple[str, int, str]:
    """Unit of a nominal velocity, whether the numbers speak for it, and why."""
    top = float(values.max()) if len(values) else 0.0
    if 0.3 <= top <= 1:
        return "fraction", STRONG, "fractions of the speed of light"
    if 30 <= top <= 100:
        return "%", STRONG, "per cent of the speed of light"
    return named or "%", AGAINST, "no velocity"


def _guess_unit(s: Seen, parameter: str, values: Any, around: Surroundings) -> tuple[str, int, str]:
    """Physics where no unit is written: delay over length gives a velocity."""
    ours = vocabulary.parameter(parameter).unit
    if parameter == "length" and around.delays is not None:
        for name in ("m", "ft"):
            share = shape.velocity(units.units()[name].ours(s.profile.values), around.delays)
            if share is not None and 0.5 <= share <= 0.9:
                return name, STRONG, f"no unit is written; in {name} the delays give {share:.2f} of the speed of light"
    if parameter == "propagation_delay" and around.lengths is not None:
        for name in ("m", "ft") if around.length_unknown else ("m",):
            share = shape.velocity(units.units()[name].ours(around.lengths), s.profile.values)
            if share is not None and 0.5 <= share <= 0.9:
                return "ns", STRONG, f"no unit is written; in ns the lengths give {share:.2f} of the speed of light"
    inside = _inside(parameter, values)
    if parameter == "length":
        return ours, (WEAK if inside >= 0 else AGAINST), "no unit is written; metres are assumed"
    return (
        ours,
        (STRONG if inside >= 2 and parameter != "propagation_delay" else NEUTRAL if inside >= 1 else AGAINST),
        (f"no unit is written; usual values in {ours}"),
    )


def _inside(parameter: str, values: Any) -> int:
    """2: all usual; 1: most; 0: possible; -1: impossible."""
    if parameter not in RANGES or not len(values):
        return 1
    low, high, usual_low, usual_high = RANGES[parameter]
    if ((values < low) | (values > high)).mean() > 0.05:
        return -1
    usual = float(((values >= usual_low) & (values <= usual_high)).mean())
    return 2 if usual == 1 else 1 if usual > 0.8 else 0


def point_column(s: Seen, parameter: str, how: str, around: Surroundings, roles: Roles, mhz: Any) -> Placed | None:
    """A column of a table whose rows are frequencies."""
    h, p = s.heading, s.profile
    if p.numeric < 0.7 and not p.censored:
        return None
    what = (
        "margin"
        if "margin" in h.modifiers
        else "limit"
        if ("limit" in h.modifiers or "limit_name" in h.fields)
        else "value"
    )
    quals, cap, missing = qualify(s, parameter, around, roles)
    unit, cells, why = unit_of(s, parameter, what, around)
    found = shape.shape(first_run(mhz, mhz), first_run(p.values, mhz))
    agrees = shape.agrees(parameter, found, what == "margin")
    reasons = [f"heading says {vocabulary.parameter(parameter).name}"]
    if how == "taken":
        cap = min(cap, (0.95 if agrees > 0 else 0.7) if not h.unknown else 0.6)
    if agrees > 0:
        cells = STRONG if cells != AGAINST else cells
        reasons.append("the curve has its shape")
    elif agrees < 0:
        cells = AGAINST
        reasons.append("the curve has another shape")
    elif found is not None:
        cells = min(cells, NEUTRAL) if what == "value" and parameter not in ("tcl", "tctl", "eltctl") else cells
    if missing:
        cap = min(cap, 0.6 if what != "limit" else 0.93)
        reasons.append(missing)
    if h.pairs and around.scheme.confidence < 0.9:
        reasons.append(around.scheme.reason)
    origin = {"limit": "limit", "margin": "margin"}.get(what, "")
    to = Target("sweeps", parameter, origin=origin, **quals)
    return Placed(
        s,
        to,
        unit if unit != vocabulary.parameter(parameter).unit else "",
        sure(h, cells, cap=cap),
        "; ".join([*reasons, why]),
        what=what,
    )


def first_run(values: Any, mhz: Any) -> Any:
    """The values of the first record: as far as its frequencies rise."""
    rising = np.flatnonzero(np.diff(mhz) <= 0)
    return values[: int(rising[0]) + 1] if len(rising) else values


def scalar_column(
    s: Seen, parameter: str, how: str, around: Surroundings, roles: Roles | None, kind: str
) -> Placed | None:
    """A column of single values: readings of scalars, worst cases of curves."""
    h, p = s.heading, s.profile
    what = what_of(s, parameter)
    if not what:
        return None
    quals, cap, missing = qualify(s, parameter, around, roles)
    name = vocabulary.parameter(parameter).name
    reason = f"heading says {name}"
    if how == "taken":
        cap = min(cap, 0.85 if not h.unknown else 0.6)
    if h.pairs and around.scheme.confidence < 0.9:
        reason += f"; {around.scheme.reason}"
    if missing and h.pairs:
        reason += f"; {missing}"
    if p.lists > 0.8 and is_curve(parameter):
        origin = {"limit": "limit", "margin": "margin"}.get(what, "")
        to = Target("sweeps", parameter, origin=origin, **quals)
        return Placed(s, to, "", sure(h, STRONG, cap=cap), f"{reason}; lists of numbers", what="value")
    if what in ("value", "limit", "margin"):
        unit, cells, why = unit_of(s, parameter, what, around)
        reason += f"; {why}"
        if h.frequency:
            quals["frequency"] = h.frequency
        if is_curve(parameter) and not h.frequency:
            quals["kind"] = kind
            to = Target("reported", parameter, what, **quals)
        else:
            to = Target("readings", parameter, origin={"limit": "limit", "margin": "margin"}.get(what, ""), **quals)
        if h.modifiers & {"maximum", "average"} and not is_curve(parameter):
            cap = min(cap, 0.6)
        shown = unit if unit != vocabulary.parameter(parameter).unit else ""
        return Placed(s, to, shown, sure(h, cells, cap=cap), reason, what=what)
    if what == "verdict":
        to = Target(
            "reported", parameter, "verdict", kind="overall", **{k: v for k, v in quals.items() if k != "frequency"}
        )
        return Placed(s, to, "", sure(h, STRONG, cap=cap), f"{reason}; verdicts in the cells", what=what)
    if not is_curve(parameter):
        return None
    quals["kind"] = kind
    quals.pop("pairing" if what == "pairing" else "end" if what == "end" else "", None)
    to = Target("reported", parameter, what, **quals)
    unit = h.unit if what == "frequency" and h.unit not in ("", "MHz") else ""
    cells, why = STRONG, f"{what} of the worst case"
    if what == "frequency" and not h.unit:
        unit, cells, why = frequency_unit(s)
        if unit == "GHz":
            # Worst cases often stand at the lowest frequency: small numbers are no gigahertz.
            unit, cells, why = "", WEAK, "no unit is written; MHz are assumed"
    if what == "pairing":
        cap = min(cap, around.scheme.confidence)
    return Placed(s, to, unit, sure(h, cells, cap=cap), f"{reason}; {why}", what=what)


def frequency_unit(s: Seen) -> tuple[str, int, str]:
    """Unit of a column of frequencies: as written, else by their size."""
    h = s.heading
    if h.unit and units.units()[h.unit].dimension == "frequency":
        return ("" if h.unit == "MHz" else h.unit), STRONG, f"frequencies in {h.unit}"
    if s.profile.unit and units.units()[s.profile.unit].dimension == "frequency":
        return ("" if s.profile.unit == "MHz" else s.profile.unit), STRONG, f"frequencies in {s.profile.unit}"
    top = float(np.nanmax(s.profile.values)) if np.isfinite(s.profile.values).any() else 0.0
    for name, low, high in (("", 10, 3000), ("kHz", 1e4, 3e6), ("Hz", 1e7, 3e9), ("GHz", 0.05, 3.1)):
        if low <= top <= high:
            clear = name in ("", "kHz", "Hz")
            return name, STRONG if clear else WEAK, f"no unit is written; up to {top:g} are {name or 'MHz'}"
    return "", WEAK, "no unit is written"


def frequency_unit_of_list(s: Seen) -> tuple[str, int, str]:
    """Unit of lists of frequencies."""
    cells = [c for c in s.column.cells[:3] if c is not None]
    if cells and isinstance(cells[0], str) and s.profile.encoding not in ("", "pairs"):
        from archive.formats.mapping.build.cell_arrays import decoded

        cells = [[float(x) for x in decoded(cells[0], s.profile.encoding)]]
    numbers = (
        [float(x.replace(",", ".")) for x in re.findall(r"\d+(?:[.,]\d+)?", str(cells[0]))]
        if cells and isinstance(cells[0], str)
        else list(cells[0] if cells else [])
    )
    flat = profile([str(x) for x in numbers])
    return frequency_unit(Seen(s.column, s.heading, flat, s.own, s.inner))
