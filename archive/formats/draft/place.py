"""Places the columns of a layout: facts, quantities, keys; then looks at the whole once more."""

from __future__ import annotations

import re
from collections import Counter
from typing import Any

from archive import vocabulary
from archive.formats.base import units
from archive.formats.draft import heading, joined, paired, review
from archive.formats.draft.curves import curve, frequency_headings, link_headings, lone_value, point, shapes_back
from archive.formats.draft.facts import Placed, nowhere
from archive.formats.draft.heading import WAVELENGTHS
from archive.formats.draft.layout import Found, Layout
from archive.formats.draft.measures import (
    Surroundings,
    frequency_unit_of_list,
    parameter_of,
    what_of,
)
from archive.formats.draft.placing import PlacedTable, Placing
from archive.formats.draft.roles import END_LETTERS, Roles, Seen, label_of, look, part_keys, part_roles, roles
from archive.formats.draft.rowed import key_column, row_kinds, row_value
from archive.formats.draft.single import scalar
from archive.formats.draft.sure import STRONG
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
            out.placed.append(key_column(s, named[id(s)], part_roles(parts), around, out))
        elif s.source == "@block" and s.profile.numeric > 0.9 and link is not None and link is not s:
            out.placed.append(nowhere(s, f"numbers the records, which {link.source!r} names"))
        elif s.profile.filled:
            out.placed.append(scalar(s, around, None, families, long, seen, s is link))
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
            out.placed.append(key_column(s, keyed[id(s)], role, around, out))
        elif role.rows == "points" and mhz is not None:
            out.placed.append(point(s, role, around, mhz, seen))
        elif role.rows == "curves":
            out.placed.append(curve(s, role, around, found))
        elif role.rows == "readings" and "parameter" in role.keys and s is not role.label:
            out.placed.append(row_value(s, around, role))
        else:
            out.placed.append(scalar(s, around, role, families, role.rows != "links", seen))
    if found.headings_are == "frequencies":
        frequency_headings(out, found, around)
    elif role.rows == "points":
        link_headings(out, found, around)
    lone_value(out, around)
    shapes_back(out, around)
    if role.rows == "readings" and "parameter" in role.keys:
        row_kinds(out)
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
    return nowhere(s)


def _families(seen: list[Seen], around: Surroundings) -> dict[tuple[str, str, str], set[str]]:
    """Of each quantity, end and pair: which of its values have columns of their own."""
    out: dict[tuple[str, str, str], set[str]] = {}
    for s in seen:
        parameter, _ = parameter_of(s.heading, around)
        if parameter:
            out.setdefault((parameter, "", ""), set()).add(what_of(s, parameter))
    return out
