"""Places the columns of rows that say themselves what they are: keys, and the values beside them."""

from __future__ import annotations

import re
from collections import Counter
from dataclasses import replace
from typing import Any

from archive import vocabulary
from archive.formats.base import units
from archive.formats.draft import heading, paired
from archive.formats.draft.facts import Placed, nowhere, place_fact, yes_no
from archive.formats.draft.measures import (
    Surroundings,
    frequency_unit,
    parameter_of,
)
from archive.formats.draft.placing import PlacedTable
from archive.formats.draft.roles import Roles, Seen
from archive.formats.draft.sure import NEUTRAL, STRONG, WEAK, sure
from archive.formats.mapping.target import Target


def key_column(s: Seen, name: str, role: Roles, around: Surroundings, out: PlacedTable) -> Placed:
    """A column that says which row a row is."""
    h = s.heading
    to = Target("row", name)
    if name == "frequency":
        unit, cells, why = frequency_unit(s)
        # Letters of what stands around the table name an end, not the frequencies.
        return Placed(s, to, unit, sure(replace(h, letters=s.own.letters), cells), f"rises within each record; {why}")
    if name in ("pairing", "end", "direction", "parameter"):
        # The cells themselves say what the column is: a letter of its heading takes nothing away.
        h = replace(h, letters=[])
    if name == "parameter":
        known, sure_of = _parameter_words(s, around)
        out.parameters.update(known)
        lost = [c for c in s.profile.distinct if c not in known]
        reason = "names of quantities: " + ", ".join(f"{k} is {v}" for k, v in list(known.items())[:6])
        unread = set(lost)
        much = sum(str(c).strip() in unread for c in s.column.cells) > 0.3 * len(s.column.cells)
        if lost:
            reason += f"; not known: {', '.join(lost[:4])}"
        return Placed(s, to, "", min(sure(h, STRONG), sure_of, 0.85 if much else 1.0), reason)
    if name == "pairing":
        unresolved = [c for c in s.profile.distinct if not paired.resolve(paired.plain(c), around.scheme.name, True)]
        score = sure(
            h, STRONG if len(unresolved) <= 0.2 * len(s.profile.distinct) else WEAK, cap=around.scheme.confidence
        )
        return Placed(s, to, "", score, around.scheme.reason)
    if name == "axis":
        return Placed(s, to, "", 0.95, "names of the axes that stand elsewhere in the file")
    words = role.words.get(name, {})
    options: dict[str, Any] = {}
    if name in ("end", "direction", "origin", "kind") and words:
        options["words"] = words
    said = ", ".join(f"{k} is {v}" for k, v in list(words.items())[:4])
    cells = STRONG if said or name in ("wavelength", "unit", "axis") else WEAK
    return Placed(s, to, "", sure(h, cells), f"says the {name} of each row" + (f": {said}" if said else ""), options)


def _parameter_words(s: Seen, around: Surroundings) -> tuple[dict[str, str], float]:
    """Cells that name quantities, as quantities; how sure the least sure of them is."""
    out: dict[str, str] = {}
    least = 0.97
    for cell in s.profile.distinct:
        found = heading.read(cell)
        parameter, how = parameter_of(found, around)
        if how == "taken" and found.unknown and not around.fiber:
            continue  # "reflection loss" in words that nobody knows is not the plain loss.
        if parameter and not (len(found.unknown) > len(found.parameters) + len(found.generics)):
            unit = units.units().get(found.unit)
            other = (
                unit is not None
                and unit.changes
                and unit.dimension == units.dimension(vocabulary.parameter(parameter).unit)
            )
            known = vocabulary.parameter(parameter)
            end = found.ends[0] if len(set(found.ends)) == 1 and known.ends else ""
            pair = paired.resolve(found.pairs, around.scheme.name, known.per == "ordered") if found.pairs else ""
            out[cell] = " ".join(x for x in (parameter, found.unit if other else "", end, pair) if x)
            if pair:
                least = min(least, around.scheme.confidence)
            if how == "taken" or found.guessed or found.unknown:
                least = min(least, 0.85 if how != "taken" or not around.fiber else 0.9)
    return out, least


def is_level(unit: str) -> bool:
    """Whether a unit is one of levels, such as dB."""
    found = units.units().get(unit)
    return found is not None and found.dimension == "level"


def row_value(s: Seen, around: Surroundings, role: Roles) -> Placed:
    """A column of a table whose rows name their quantity: value, limit, margin, frequency, verdict."""
    h, p = s.heading, s.profile
    unit = units.units().get(h.unit)
    numeric = p.numeric > 0.6
    name = ""
    if (
        numeric
        and ((unit is not None and unit.dimension == "frequency") or "frequency" in h.modifiers)
        and ("margin" not in h.modifiers or (unit is not None and unit.dimension == "frequency"))
    ):
        name = "frequency"
    elif (p.verdicts > 0.8 and p.numeric < 0.3) or ({"verdict"} & (set(h.fields) | h.modifiers) and yes_no(p.distinct)):
        name = "verdict"
    elif numeric and "margin" in h.modifiers and (at := _at_margin(h.text)):
        name = at
    elif numeric and "margin" in h.modifiers:
        name = "margin"
    elif numeric and ("limit" in h.modifiers or "limit_name" in h.fields):
        name = "limit"
    elif numeric and (
        h.modifiers & {"value", "worst", "maximum"}
        or (unit is not None and unit.dimension == "level")
        or ("verdict" in h.fields and p.numeric > 0.9)
    ):
        name = "value"
    quals, cap = {}, 1.0
    if h.pairs:
        found = paired.resolve(h.pairs, around.scheme.name, True)
        if found and numeric:
            name, quals["pairing"], cap = name or "value", found, around.scheme.confidence
    if h.ends and numeric:
        quals["end"] = h.ends[0]
        name = name or "value"
    if not name and not numeric and ("pair" in h.modifiers and not h.fields):
        score = sure(h, STRONG, cap=around.scheme.confidence)
        return Placed(s, Target("row", "pairing"), "", score, around.scheme.reason, what="pairing")
    if not name and len(p.meanings("end")) == len(p.distinct) and "end" in h.modifiers:
        return Placed(s, Target("row", "end"), "", sure(h, STRONG), "end of each row", what="end")
    if not name:
        return place_fact(s, True) or nowhere(s)
    to = Target("row", name, **quals)
    shown = h.unit if unit is not None and unit.name not in ("dB", "MHz") else ""
    if name == "frequency":
        shown, cells, why = frequency_unit(s)
        return Placed(s, to, shown, sure(h, cells, cap=cap), f"frequency of each row; {why}", what=name)
    cells = STRONG if name == "verdict" or h.modifiers or unit is not None else NEUTRAL
    options = {"words": said} if name == "verdict" and (said := yes_no(p.distinct)) else {}
    reason = f"{name} of the quantity that the row names"
    return Placed(s, to, shown, sure(h, cells, cap=cap), reason, options, what=name)


_OF_POINT = frozenset(("value", "limit", "margin", "frequency", "pairing", "end"))


def _at_margin(text: str) -> str:
    """value or limit of a heading such as "Limit at worst margin"; the margin says where, and not what."""
    found = re.match(r"\W*(value|limit)\b.*\bat\b.*\bmargin", text, re.IGNORECASE)
    return found.group(1).lower() if found else ""


def row_kinds(out: PlacedTable) -> None:
    """Two groups of columns in one row: those of the worst margin, and those of the worst value."""
    mine = [p for p in out.placed if p.to is not None and p.to.table == "row" and p.to.name in _OF_POINT]
    names = Counter(p.to.name for p in mine if p.to is not None)
    kinds = [_kind_said(p.seen.heading.modifiers) for p in mine]
    single = Counter(str(p.to) for p in mine)
    if not any(n > 1 for name, n in single.items() if names[name.partition(".")[2]] > 1):
        return
    kind = next((k for k in kinds if k), "worst_margin")
    for p, said in zip(mine, kinds, strict=True):
        assert p.to is not None
        kind = said or kind
        p.to = p.to.at(kind=kind)
        p.reason += f"; of the {kind.replace('_', ' ')}"


def _kind_said(modifiers: set[str]) -> str:
    if "margin" in modifiers:
        return "worst_margin"
    return "worst_value" if "value" in modifiers and modifiers & {"worst", "maximum"} else ""
