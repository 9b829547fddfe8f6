"""Where columns go in tables whose rows name their own quantity: keys of the rows, and the values beside them."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Sequence
from dataclasses import replace

from archive import vocabulary
from archive.formats.base import units
from archive.formats.draft import heading, paired
from archive.formats.draft.cell_tests import yes_no
from archive.formats.draft.columns import Seen
from archive.formats.draft.facts import Standing, fact
from archive.formats.draft.hypotheses import NEUTRAL, STRONG, WEAK, doubt, score_of
from archive.formats.draft.keys import kind_said
from archive.formats.draft.placing import Meaning, Placed, PlacedTable, Surroundings, nowhere, spoken
from archive.formats.draft.quantities import InUnit, dimension_of, frequency_unit, parameter_of
from archive.formats.draft.relations import name_quantities
from archive.formats.mapping.target import Target


def key_column(
    s: Seen, name: str, meaning: Meaning, around: Surroundings, out: PlacedTable, seen: Sequence[Seen] = ()
) -> Placed:
    """A column that says which row a row is. Words for quantities go to the parameters of the table. seen: the columns
    of the table."""
    to = Target("row", name)
    if name == "frequency":
        unit = frequency_unit(s)
        return Placed(s, to, unit.name, _clear(s, unit.cells), f"frequencies; {unit.why}")
    if name == "parameter":
        return _parameter_column(s, meaning, around, out, seen)
    if name == "pairing":
        unresolved = [c for c in s.profile.distinct if not paired.resolve(paired.plain(c), around.scheme.name, True)]
        cells = STRONG if len(unresolved) <= 0.2 * len(s.profile.distinct) else WEAK
        return Placed(s, to, "", _clear(s, cells), around.scheme.reason).at_most(around.scheme.confidence)
    if name == "axis":
        return Placed(s, to, "", score_of(0.95), "names of the axes that stand elsewhere in the file")
    words = meaning.words.get(name, {})
    options = {"words": words} if name in ("end", "direction", "origin", "kind") and words else {}
    said = ", ".join(f"{k} is {v}" for k, v in list(words.items())[:4])
    cells = STRONG if said or name in ("wavelength", "unit", "subject") else WEAK
    why = f"says the {name} of each row" + (f": {said}" if said else "")
    return Placed(s, to, "", _clear(s, cells), why, options)


def _clear(s: Seen, cells: str) -> float:
    """The score of a column whose cells say themselves what it is: a letter of its heading takes nothing away."""
    return spoken(replace(s, heading=replace(s.heading, letters=[])), cells)


def _parameter_column(
    s: Seen, meaning: Meaning, around: Surroundings, out: PlacedTable, seen: Sequence[Seen]
) -> Placed:
    known = parameter_words(s, around)
    unknown = [c for c in s.profile.distinct if c not in known]
    if unknown and meaning.keys.get("parameter") is s:
        taken = {m.partition(" ")[0] for m, _ in known.values()}
        known |= name_quantities(meaning, seen, unknown, taken)
    out.parameters.update(known)
    lost = [c for c in s.profile.distinct if c not in known]
    reason = "names of quantities: " + ", ".join(f"{k} is {v}" for k, (v, _) in list(known.items())[:6])
    if lost:
        reason += f"; not known: {', '.join(lost[:4])}"
    placed = Placed(s, Target("row", "parameter"), "", _clear(s, STRONG), reason)
    return placed.at_most(max((p for _, p in known.values()), default=0.3))


def parameter_words(s: Seen, around: Surroundings) -> dict[str, tuple[str, float]]:
    """Cells that name quantities, as a mapping writes them, and how probable each is."""
    out: dict[str, tuple[str, float]] = {}
    for cell in s.profile.distinct:
        found = heading.read(cell)
        parameter, direct = parameter_of(found, around)
        if not direct and found.unknown and not around.fiber and not found.maybe:
            continue  # "reflection loss" in words that nobody knows is not the plain loss.
        if not parameter or len(found.unknown) > len(found.parameters) + len(found.generics):
            continue
        known = vocabulary.parameter(parameter)
        end = found.ends[0] if len(set(found.ends)) == 1 and known.ends else ""
        pair = paired.resolve(found.pairs, around.scheme.name, known.per == "ordered") if found.pairs else ""
        likely = around.scheme.confidence if pair else 0.97
        if not direct or found.guessed or found.unknown:
            likely = min(likely, doubt("guessed_quantity" if found.guessed or found.unknown else "generic"))
        said = " ".join(x for x in (parameter, _other_unit(found.unit, known.unit), end, pair) if x)
        out[cell] = (said, likely)
    return out


def _other_unit(written: str, ours: str) -> str:
    """A unit as written where it is another one of the same dimension than that of the tables, else ""."""
    unit = units.units().get(written)
    changes = unit is not None and unit.changes and unit.dimension == units.dimension(ours)
    return written if changes else ""


def row_value(s: Seen, around: Surroundings) -> Placed:
    """A column of a table whose rows name their quantity: value, limit, margin, frequency, verdict; or a fact."""
    h, p = s.heading, s.profile
    numeric = p.numeric > 0.6
    name, quals, most = _name_of_value(s, numeric), {}, 1.0
    clear = not s.inner.unknown or dimension_of(h.unit or p.unit) == "level"
    if h.pairs and numeric and clear and (found := paired.resolve(h.pairs, around.scheme.name, True)):
        name, quals["pairing"], most = name or "value", found, around.scheme.confidence
    if h.ends and numeric:
        name, quals["end"] = name or "value", h.ends[0]
    if not name and not numeric:
        name = _of_row(s)
        if name:
            out = Placed(s, Target("row", name), "", spoken(s, STRONG), f"{name} of each row", what=name)
            return out.at_most(around.scheme.confidence if name == "pairing" else 1.0)
    if not name:
        return fact(s, Standing(True)) or nowhere(s)
    to = Target("row", name, **quals)
    if name == "frequency":
        unit = frequency_unit(s)
        if unit.name == "GHz" and not h.unit:
            unit = InUnit("", WEAK, "no unit is written; MHz are assumed")
        why = f"frequency of each row; {unit.why}"
        return Placed(s, to, unit.name, spoken(s, unit.cells), why, what=name).at_most(most)
    known = dimension_of(h.unit)
    shown = h.unit if known and h.unit not in ("dB", "MHz") else ""
    cells = STRONG if name == "verdict" or h.modifiers or known else NEUTRAL
    options = {"words": said} if name == "verdict" and (said := yes_no(p.distinct)) else {}
    why = f"{name} of the quantity that the row names"
    return Placed(s, to, shown, spoken(s, cells), why, options, name).at_most(most)


def _name_of_value(s: Seen, numeric: bool) -> str:
    h, p = s.heading, s.profile
    of_frequency = dimension_of(h.unit) == "frequency"
    if numeric and (of_frequency or ("frequency" in h.modifiers and "margin" not in h.modifiers)):
        return "frequency"
    if (p.verdicts > 0.8 and p.numeric < 0.3) or ({"verdict"} & {*h.fields, *h.modifiers} and yes_no(p.distinct)):
        return "verdict"
    if not numeric:
        return ""
    if "margin" in h.modifiers:
        return _at_margin(h.text) or "margin"
    if "limit" in h.modifiers or "limit_name" in h.fields:
        return "limit"
    named = h.modifiers & {"value", "worst", "maximum"} or ("verdict" in h.fields and p.numeric > 0.9)
    return "value" if named or dimension_of(h.unit) == "level" else ""


def _at_margin(text: str) -> str:
    """value or limit of a heading such as "Limit at worst margin"; the margin says where, and not what."""
    found = re.match(r"\W*(value|limit)\b.*\bat\b.*\bmargin", text, re.IGNORECASE)
    return found.group(1).lower() if found else ""


def _of_row(s: Seen) -> str:
    h = s.heading
    if "pair" in h.modifiers and not h.fields:
        return "pairing"
    return "end" if "end" in h.modifiers and len(s.profile.meanings("end")) == len(s.profile.distinct) else ""


_OF_POINT = frozenset(("value", "limit", "margin", "frequency", "pairing", "end"))


def row_kinds(claims: Sequence[Placed]) -> None:
    """Two groups of columns in one row: those of the worst margin, and those of the worst value."""
    mine = [p for p in claims if p.to is not None and p.to.table == "row" and p.to.name in _OF_POINT]
    names = Counter(p.to.name for p in mine if p.to is not None)
    if not any(n > 1 and names[name.partition(".")[2]] > 1 for name, n in Counter(str(p.to) for p in mine).items()):
        return
    kinds = [kind_said(p.seen.heading.modifiers) for p in mine]
    kind = next((k for k in kinds if k), "worst_margin")
    for p, said in zip(mine, kinds, strict=True):
        assert p.to is not None
        kind = said or kind
        p.to = p.to.at(kind=kind)
        p.reason += f"; of the {kind.replace('_', ' ')}"
