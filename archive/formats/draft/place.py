"""Places the columns of a layout: facts, quantities, keys; then looks at the whole once more."""

from __future__ import annotations

import re
from collections import Counter
from dataclasses import replace
from typing import Any

import numpy as np

from archive import vocabulary
from archive.formats.draft import heading, joined, paired, review, shape
from archive.formats.draft.facts import Placed, place_fact, yes_no
from archive.formats.draft.heading import WAVELENGTHS
from archive.formats.draft.layout import Found, Layout
from archive.formats.draft.measures import (
    Surroundings,
    by_unit,
    frequency_unit,
    parameter_of,
    point_column,
    scalar_column,
    what_of,
)
from archive.formats.draft.placing import PlacedTable, Placing
from archive.formats.draft.profile import profile
from archive.formats.draft.roles import END_LETTERS, Roles, Seen, label_of, look, part_keys, part_roles, roles
from archive.formats.draft.sure import NEUTRAL, STRONG, WEAK, sure
from archive.formats.mapping import dates, units
from archive.formats.mapping.build.scalars import is_curve
from archive.formats.mapping.target import Target


def place(layout: Layout) -> Placing:
    """Places every column of a layout."""
    labels = look([*layout.labels, *layout.shared], (), layout.decimal, layout.thousands)
    seen = [look(t.columns, t.context, layout.decimal, layout.thousands) for t in layout.tables]
    fiber = _is_fiber(labels, seen, layout)
    alone = not layout.block and not layout.record
    for s in seen:
        _ordinals(s)
    keys = joined.keys(seen, fiber) if alone else {}
    role = [
        Roles("axes") if t.each.startswith("/") else roles(t, s, fiber, alone, keys.get(n))
        for n, (t, s) in enumerate(zip(layout.tables, seen, strict=True))
    ]
    everything = [*labels, *(c for s in seen for c in s)]
    parts = _parts(layout, labels)
    for r in role:
        for name, part in parts.items():
            if r.rows in ("points", "curves", "readings") and name not in r.keys:
                r.keys[name] = part
                r.words.setdefault(name, {})
    named = (label_of([x for x in s if x.profile.filled], fiber) for s in seen)
    links = frozenset(c.strip() for s in named if s is not None for c in map(str, s.column.cells))
    around = Surroundings(_scheme(everything, role, layout, links), fiber, links=links)
    around.ends = _end_letters(everything)
    _physics(everything, around)
    out = Placing([], around.scheme, fiber)
    long = any(r.rows != "links" for r in role) or bool(layout.block or layout.record)
    out.tables.append(_labels(labels, around, long, parts))
    axes = {c for s, r in zip(seen, role, strict=True) if r.rows == "axes" for x in s for c in x.profile.distinct}
    for t, s, r in zip(layout.tables, seen, role, strict=True):
        for x in s if r.rows != "axes" else ():
            if axes and x.profile.distinct and set(x.profile.distinct) <= axes:
                r.keys["axis"] = x
        out.tables.append(_table(t, s, r, around))
    for n, key in keys.items():
        joined.settle(out.tables[n + 1].placed, key, not any(label_of(seen[m], fiber) for m in keys))
    review.spread(out)
    review.row_numbers(out)
    review.dates_together(out)
    review.end_of_element(out)
    review.repeated(out)
    review.signs(out)
    for p in (p for t in out.tables for p in t.placed):
        if p.seen.profile.encoding and p.to is not None:
            p.options["encoding"] = p.seen.profile.encoding
        if p.seen.profile.separator and p.to is not None:
            p.options["separator"] = p.seen.profile.separator
    review.only_once(out)
    review.told_apart(out)
    review.label_at_all(out, layout)
    for p in (p for t in out.tables for p in t.placed):
        if p.seen.column.doubt and p.to is not None:
            p.confidence = min(p.confidence, 0.8)
            p.reason += f"; {p.seen.column.doubt}"
    return out


def _ordinals(seen: list[Seen]) -> None:
    """Headings such as c1 to c10 number their columns: the numbers name no pairs."""
    by: dict[str, list[tuple[int, Seen]]] = {}
    for s in seen:
        match = (
            re.fullmatch(r"([^\W\d_]{1,6})[ _.]?(\d{1,3})", s.column.levels[-1].strip()) if s.column.levels else None
        )
        if match and not s.heading.pair_word and not s.heading.parameters:
            by.setdefault(match.group(1).casefold(), []).append((int(match.group(2)), s))
    for listed in by.values():
        numbers = sorted(n for n, _ in listed)
        if len(numbers) > 4 and numbers == list(range(numbers[0], numbers[0] + len(numbers))):
            for _, s in listed:
                s.heading.pairs = s.own.pairs = s.inner.pairs = ""


def _is_fiber(labels: list[Seen], tables: list[list[Seen]], layout: Layout) -> bool:
    every = [*labels, *(c for s in tables for c in s)]
    optical = sum(
        bool(s.heading.wavelength or "wavelength" in s.heading.modifiers or "fiber" in s.heading.media)
        or any(p.startswith("optical") for p in s.heading.parameters)
        or bool({"reference_method", "splices", "group_index", "launch_condition"} & set(s.heading.fields))
        for s in every
    )
    optical += sum(bool(s.profile.distinct) and all(c in WAVELENGTHS for c in s.profile.distinct) for s in every)
    copper = sum(
        bool(s.heading.pairs)
        or any(is_curve(p) and p not in ("insertion_loss", "return_loss") for p in s.heading.parameters)
        for s in every
    )
    if re.search(r"\b(?:om[1-5]|os[12]a?)\b", layout.text, re.IGNORECASE):
        optical += 2
    return optical >= 2 and optical > copper


def _scheme(every: list[Seen], role: list[Roles], layout: Layout, links: frozenset[str]) -> paired.Scheme:
    values = [
        c
        for r in role
        for n in ("pairing", "disturbing", "disturbed")
        if n in r.keys
        for c in r.keys[n].profile.distinct[:40]
    ]
    for s in every:
        if s.heading.parameters and "pair" in s.inner.modifiers and not s.heading.pairs:
            values += s.profile.distinct[:20]
    said = [heading.read(c) for r in role if "parameter" in r.keys for c in r.keys["parameter"].profile.distinct[:60]]
    said += [heading.read(*t.context) for t in layout.tables if t.context]
    # Digits of a label name no pairs.
    said += [s.heading for s in every if not s.heading.wavelength and s.source not in links]
    return paired.decide(said, values, layout.text)


def _end_letters(every: list[Seen]) -> dict[str, str]:
    """Letters such as L and R, or A and B, that tell apart headings which are otherwise equal."""
    by: dict[tuple[Any, ...], set[str]] = {}
    for s in every:
        h = s.heading
        if not h.parameters or h.ends or not vocabulary.parameter(h.parameters[0]).ends:
            continue
        for letter in h.letters:
            by.setdefault((tuple(h.parameters), h.pairs, tuple(sorted(h.modifiers))), set()).add(letter)
    count = Counter(frozenset(v) for v in by.values() if len(v) == 2)
    for first, second in END_LETTERS:
        if count.get(frozenset((first, second)), 0) >= 1:
            return {first: "local", second: "remote"}
    return {}


def _physics(every: list[Seen], around: Surroundings) -> None:
    """Lengths and delays of known unit, for the unit of the other."""
    for s in every:
        parameter, _ = parameter_of(s.heading, around)
        if s.profile.numeric < 0.9 or s.heading.modifiers & {"limit", "margin"}:
            continue
        unit = units.units().get(s.heading.unit or s.profile.unit)
        if parameter == "propagation_delay" and around.delays is None and (unit is None or unit.dimension == "time"):
            around.delays = s.profile.values if unit is None else unit.ours(s.profile.values)
        if parameter == "length" and (around.lengths is None or around.length_unknown):
            if unit is not None and unit.dimension == "length":
                around.lengths, around.length_unknown = unit.ours(s.profile.values), False
            elif unit is None and around.lengths is None:
                around.lengths, around.length_unknown = s.profile.values, True


def _parts(layout: Layout, labels: list[Seen]) -> dict[str, Seen]:
    """Labels that say which part of a record a block is (quantity, pair, end), where links come again and again."""
    again = [s for s in labels if len(s.column.cells) > 1.5 * layout.records and s.own.fields[:1] != ["link_label"]]
    if again and any(t.times > 1.5 * layout.records for t in layout.tables):
        # Several labels of one name in a record, and several tables below them: each label tells which one comes.
        return part_keys(again)
    link = next((s for s in labels if "link_label" in s.own.fields), None)
    if not layout.block or layout.block in ("file", "sheet") or link is None or layout.records < 4:
        return {}
    if len(link.profile.distinct) > 0.6 * layout.records:
        return {}
    return part_keys([s for s in labels if s is not link])


def _labels(seen: list[Seen], around: Surroundings, long: bool, parts: dict[str, Seen]) -> PlacedTable:
    out = PlacedTable(None, None)
    families = _families(seen, around)
    named = {id(s): n for n, s in parts.items()}
    link = label_of([s for s in seen if s.profile.filled], around.fiber)
    for s in seen:
        if id(s) in named:
            out.placed.append(_key(s, named[id(s)], part_roles(parts), around, out))
        elif s.source == "@block" and s.profile.numeric > 0.9 and link is not None and link is not s:
            out.placed.append(_nowhere(s, f"numbers the records, which {link.source!r} names"))
        elif s.profile.filled:
            out.placed.append(_scalar(s, around, None, families, long, seen, s is link))
    return out


def _table(found: Found, seen: list[Seen], role: Roles, around: Surroundings) -> PlacedTable:
    out = PlacedTable(found, role)
    if role.rows == "axes":
        out.placed = [_axis(s) for s in seen]
        return out
    families = _families(seen, around)
    mhz = role.keys["frequency"].profile.values if "frequency" in role.keys else None
    keyed = {id(s): n for n, s in role.keys.items()}
    for s in seen:
        if not s.profile.filled:
            continue
        if id(s) in keyed:
            out.placed.append(_key(s, keyed[id(s)], role, around, out))
        elif role.rows == "points" and mhz is not None:
            out.placed.append(_point(s, role, around, mhz, seen))
        elif role.rows == "curves":
            out.placed.append(_curve(s, role, around, found))
        elif role.rows == "readings" and "parameter" in role.keys and s is not role.label:
            out.placed.append(_row_value(s, around, role))
        else:
            out.placed.append(_scalar(s, around, role, families, role.rows != "links", seen))
    if found.headings_are == "frequencies":
        _frequency_headings(out, found, around)
    elif role.rows == "points":
        _link_headings(out, found, around)
    _lone_value(out, around)
    _shapes_back(out, around)
    if role.rows == "readings" and "parameter" in role.keys:
        _row_kinds(out)
    return out


def _axis(s: Seen) -> Placed:
    """A column of a table of axes: the frequencies, or the name by which curves refer to them."""
    if s.profile.lists > 0.8:
        unit, cells, why = frequency_unit_of_list(s)
        return Placed(
            s, Target("axes", "frequencies_mhz"), unit, 0.95 if cells == STRONG else 0.8, f"rising frequencies; {why}"
        )
    if s.profile.unique == 1:
        return Placed(s, Target("row", "key"), "", 0.95, "names of axes")
    return _nowhere(s)


def _nowhere(s: Seen, why: str = "") -> Placed:
    h = s.heading
    said = why or ("nothing in the heading is understood" if not h.says else "understood in part, but no place fits")
    return Placed(s, None, "", 0.0, said)


def _families(seen: list[Seen], around: Surroundings) -> dict[tuple[str, str, str], set[str]]:
    """Of each quantity, end and pair: which of its values have columns of their own."""
    out: dict[tuple[str, str, str], set[str]] = {}
    for s in seen:
        parameter, _ = parameter_of(s.heading, around)
        if parameter:
            out.setdefault((parameter, "", ""), set()).add(what_of(s, parameter))
    return out


_AXIS = Target("axes", "frequencies_mhz")
_UNNAMED = re.compile(r"^(?:row|line|column) \d+(?: \(\d+\))?$|, unit$")


def _scalar(
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
    if _UNNAMED.search(s.source):
        return _nowhere(s, "has no name")
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
        measured = _nvp(s)
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
    return _unnamed(s, role) or _nowhere(s)


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


def frequency_unit_of_list(s: Seen) -> tuple[str, int, str]:
    """Unit of lists of frequencies."""
    cells = [c for c in s.column.cells[:3] if c is not None]
    if cells and isinstance(cells[0], str) and s.profile.encoding not in ("", "pairs"):
        from archive.formats.mapping.build.lists import decoded

        cells = [[float(x) for x in decoded(cells[0], s.profile.encoding)]]
    numbers = (
        [float(x.replace(",", ".")) for x in re.findall(r"\d+(?:[.,]\d+)?", str(cells[0]))]
        if cells and isinstance(cells[0], str)
        else list(cells[0] if cells else [])
    )
    flat = profile([str(x) for x in numbers])
    return frequency_unit(Seen(s.column, s.heading, flat, s.own, s.inner))


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


def _nvp(s: Seen) -> Placed:
    from archive.formats.draft.measures import _velocity

    values = s.profile.values[np.isfinite(s.profile.values)]
    unit, cells, why = _velocity(values, s.heading.unit)
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


def _key(s: Seen, name: str, role: Roles, around: Surroundings, out: PlacedTable) -> Placed:
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
        if lost:
            reason += f"; not known: {', '.join(lost[:4])}"
        return Placed(s, to, "", min(sure(h, STRONG), sure_of), reason)
    if name == "pairing":
        unresolved = [c for c in s.profile.distinct if not paired.resolve(paired._plain(c), around.scheme.name, True)]
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


def _point(s: Seen, role: Roles, around: Surroundings, mhz: Any, seen: list[Seen]) -> Placed:
    h = s.heading
    parameter, how = parameter_of(h, around)
    if s is role.label or (
        h.fields
        and not parameter
        and not (s.profile.numeric > 0.9 and (h.modifiers & _SAYS_WHICH or _is_level(h.unit)))
    ):
        return place_fact(s, True, s is role.label) or _nowhere(s)
    if "parameter" in role.keys and not parameter:
        return _row_value(s, around, role)
    if not parameter:
        fact = place_fact(s, True)
        if fact is not None and fact.confidence > 0.5:
            return fact
        return _by_shape(s, around, role, mhz, seen)
    if not is_curve(parameter):
        return scalar_column(s, parameter, how, around, role, "worst_value") or _nowhere(s)
    return point_column(s, parameter, how, around, role, mhz) or _nowhere(s)


_OF_AXIS = frozenset(("start", "stop", "step", "count"))
_SAYS_WHICH = frozenset(("limit", "margin", "value"))


def _is_level(unit: str) -> bool:
    found = units.units().get(unit)
    return found is not None and found.dimension == "level"


def _lone_value(out: PlacedTable, around: Surroundings) -> None:
    """The one column of numbers that is left, in a table whose rows name their quantity and have no value yet."""
    role = out.roles
    if role is None or "parameter" not in role.keys or role.rows not in ("points", "readings"):
        return
    taken = [p for p in out.placed if p.to is not None and p.to.table == "row" and p.to.name in ("value", "values")]
    left = [p for p in out.placed if p.to is None and p.seen.profile.numeric > 0.9]
    if taken or len(left) != 1 or any(p.to is not None and p.to.table == "sweeps" for p in out.placed):
        return
    (p,) = left
    if role.rows == "readings" and not _is_level(p.seen.heading.unit):
        return
    speaks = _speaks(p.seen, role, around)
    p.to = Target("row", "value")
    p.confidence = 0.93 if speaks > 0 else 0.3 if speaks < 0 else 0.75
    p.reason = "the only numbers left beside what says their quantity" + ("; the curves have its shape" * (speaks > 0))


def _shapes_back(out: PlacedTable, around: Surroundings) -> None:
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
    starts = np.flatnonzero(np.append(True, np.diff(mhz) <= 0))[:60]
    for at, stop in zip(starts, [*starts[1:], len(mhz)], strict=True):
        parameter, _ = parameter_of(heading.read(str(names[at])), around) if at < len(names) else ("", "")
        if parameter:
            votes[shape.agrees(parameter, shape.shape(mhz[at:stop], s.profile.values[at:stop]))] += 1
    if votes[-1] > 0.2 * votes.total():
        return -1
    return 1 if votes[1] > 0.5 * votes.total() else 0


def _by_shape(s: Seen, around: Surroundings, role: Roles, mhz: Any, seen: list[Seen]) -> Placed:
    """A column of points whose heading names no quantity: the shape of its curve says what it may be."""
    from archive.formats.draft.measures import _first_run, qualify

    if s.profile.numeric < 0.9:
        return _nowhere(s)
    found = shape.shape(_first_run(mhz, mhz), _first_run(s.profile.values, mhz))
    parameter, score, why = shape.guess(found)
    if not parameter:
        return _nowhere(s, "no quantity is named, and the curve has no clear shape")
    quals, cap, _ = qualify(s, parameter, around, role)
    if not quals.get("pairing") and "pairing" not in role.keys:
        score = min(score, 0.4)
    del seen
    return Placed(
        s, Target("sweeps", parameter, **quals), "", round(min(score, cap), 2), f"no quantity is named; the curve {why}"
    )


def _row_value(s: Seen, around: Surroundings, role: Roles) -> Placed:
    """A column of a table whose rows name their quantity: value, limit, margin, frequency, verdict."""
    h, p = s.heading, s.profile
    unit = units.units().get(h.unit)
    numeric = p.numeric > 0.6
    name = ""
    if (
        numeric
        and ((unit is not None and unit.dimension == "frequency") or "frequency" in h.modifiers)
        and "margin" not in h.modifiers
    ):
        name = "frequency"
    elif (p.verdicts > 0.8 and p.numeric < 0.3) or ({"verdict"} & (set(h.fields) | h.modifiers) and yes_no(p.distinct)):
        name = "verdict"
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
        return place_fact(s, True) or _nowhere(s)
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


def _row_kinds(out: PlacedTable) -> None:
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


def _curve(s: Seen, role: Roles, around: Surroundings, found: Found) -> Placed:
    """A column of a table whose rows are whole curves."""
    h = s.heading
    if s.profile.lists > 0.8:
        if "frequency" in h.modifiers:
            unit, cells, why = frequency_unit_of_list(s)
            return Placed(s, Target("row", "frequencies"), unit, sure(h, cells), f"a list of frequencies; {why}")
        parameter, how = parameter_of(h, around)
        if parameter and "parameter" not in role.keys:
            return scalar_column(s, parameter, how, around, role, "worst_value") or _nowhere(s)
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
        return _nvp(s)
    return (
        place_fact(s, True, s is role.label)
        or (scalar_column(s, parameter, how, around, role, "worst_value") if parameter else None)
        or _nowhere(s)
    )


def _link_headings(out: PlacedTable, found: Found, around: Surroundings) -> None:
    """Columns of points whose headings are the labels of links: what they are values of stands above the table."""
    from archive.formats.draft.measures import _first_run
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
    agrees = shape.agrees(parameter, shape.shape(_first_run(mhz, mhz), _first_run(first.profile.values, mhz)))
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


def _frequency_headings(out: PlacedTable, found: Found, around: Surroundings) -> None:
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
