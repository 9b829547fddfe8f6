"""Places the columns of a layout: what its rows mean, what each column may be, which place each one gets."""

from __future__ import annotations

import re
from collections import Counter
from typing import Any

from archive import vocabulary
from archive.formats.base import units
from archive.formats.draft import factors, heading, joined, paired, relations, whole
from archive.formats.draft.answers import Answers, ends_heard, heard
from archive.formats.draft.assign import assigned
from archive.formats.draft.columns import Seen, look
from archive.formats.draft.curves import complete, frequency_headings, link_headings, shapes_back, step_left, undecided
from archive.formats.draft.dependence import one_each
from archive.formats.draft.facts import Standing, facts
from archive.formats.draft.hypotheses import doubt, hypotheses, score_of
from archive.formats.draft.layout import Found, Layout, nameless
from archive.formats.draft.meaning import label_of, meaning_of, part_keys, part_meaning
from archive.formats.draft.measured import (
    axis_list,
    by_shape,
    curve_cell,
    nominal_velocity,
    point_of_curve,
    quantity_said,
    single,
)
from archive.formats.draft.placing import Meaning, Placed, PlacedTable, Placing, Surroundings, nowhere, spoken
from archive.formats.draft.quantities import dimension_of, frequency_unit_of_list, parameter_of, what_of
from archive.formats.draft.rows_named import key_column, row_kinds, row_value
from archive.formats.mapping.build.scalars import is_curve
from archive.formats.mapping.target import Target

_UNNAMED = re.compile(r"^column \d+(?: \(\d+\))?$|, unit$")
_OF_AXIS = frozenset(("start", "stop", "step", "count"))
_OF_UNITS = frozenset(("maker", "model", "serial", "calibrated_on", "calibration_due", "software", "adapter"))
_VERDICT = Target("records", "reported_verdict")
_SAYS_WHICH = frozenset(("limit", "margin", "value"))


def place(layout: Layout, answers: Answers | None = None) -> Placing:
    """Places every column of a layout. answers: what a person said to the questions of an earlier draft."""
    answers = answers or {}
    labels = look([*layout.labels, *layout.shared], (), layout.decimal, layout.thousands)
    seen = [look(t.columns, t.context, layout.decimal, layout.thousands) for t in layout.tables]
    for s in (labels, *seen):
        factors.settle(s)
    for s in seen:
        _ordinals(s)
    heard(answers, [*labels, *(c for s in seen for c in s)])
    fiber = _is_fiber(labels, seen, layout)
    each = any(t.each == "." for t in layout.tables)
    alone = not layout.block and (not layout.record or each)
    keys = joined.keys(seen, fiber) if alone else {}
    meanings = [
        Meaning("axes") if t.each.startswith("/") else meaning_of(t, s, fiber, alone, keys.get(n))
        for n, (t, s) in enumerate(zip(layout.tables, seen, strict=True))
    ]
    for m in meanings:
        ends_heard(answers, m)
    parts = _parts(layout, labels)
    for m in meanings:
        for name, part in parts.items():
            if m.rows in ("points", "curves", "readings") and name not in m.keys:
                m.keys[name], m.words[name] = part, m.words.get(name, {})
    around = _surroundings([*labels, *(c for s in seen for c in s)], meanings, layout, seen, fiber)
    if "pairs" in answers:
        around.scheme = paired.Scheme(answers["pairs"], 1.0, f"pairs are named as was answered: {answers['pairs']}")
    out = Placing([], around.scheme, fiber)
    long = any(m.rows != "links" for m in meanings) or bool(layout.block or layout.record)
    out.tables.append(_labels(labels, around, long, parts))
    _refer_to_axes(seen, meanings)
    for t, s, m in zip(layout.tables, seen, meanings, strict=True):
        out.tables.append(_table(t, s, m, around))
    for n, key in keys.items():
        joined.settle(out.tables[n + 1].placed, key, not any(label_of(seen[m], fiber) for m in keys))
    whole.look_over(out, layout, answers.get("date", ""))
    if layout.record and layout.records > 4 and not each:
        whole.rows_as_records(out)
    return out


def _surroundings(
    every: list[Seen], meanings: list[Meaning], layout: Layout, seen: list[list[Seen]], fiber: bool
) -> Surroundings:
    named = (label_of([x for x in s if x.profile.filled], fiber) for s in seen)
    links = frozenset(c.strip() for s in named if s is not None for c in map(str, s.column.cells))
    out = Surroundings(_scheme(every, meanings, layout, links), fiber, links=links)
    out.ends = _end_letters(every)
    titled = [heading.read(*t.context) for t in layout.tables if t.context]
    relations.around_titles(out, [(h.parameters[0], " ".join([*h.letters, *h.ends])) for h in titled if h.parameters])
    _physics(every, out)
    return out


def _refer_to_axes(seen: list[list[Seen]], meanings: list[Meaning]) -> None:
    """Columns whose cells are names of axes that stand elsewhere in the file."""
    axes = {c for s, m in zip(seen, meanings, strict=True) if m.rows == "axes" for x in s for c in x.profile.distinct}
    for s, m in zip(seen, meanings, strict=True):
        for x in s if m.rows != "axes" and axes else ():
            if x.profile.distinct and set(x.profile.distinct) <= axes:
                m.keys["axis"] = x


def _ordinals(seen: list[Seen]) -> None:
    """Headings such as c1 to c10 number their columns: the numbers name no pairs."""
    by: dict[str, list[tuple[int, Seen]]] = {}
    for s in seen:
        last = s.column.levels[-1].strip() if s.column.levels else ""
        match = re.fullmatch(r"([^\W\d_]{1,6})[ _.]?(\d{1,3})", last)
        if match and not s.heading.pair_word and not s.heading.parameters:
            by.setdefault(match.group(1).casefold(), []).append((int(match.group(2)), s))
    for listed in by.values():
        numbers = sorted(n for n, _ in listed)
        if len(numbers) > 4 and numbers == list(range(numbers[0], numbers[0] + len(numbers))):
            for _, s in listed:
                s.heading.pairs = s.own.pairs = s.inner.pairs = ""


def _is_fiber(labels: list[Seen], tables: list[list[Seen]], layout: Layout) -> bool:
    """Whether more speaks for fibre than for copper."""
    every = [*labels, *(c for s in tables for c in s)]
    optical = sum(_optical(s) for s in every)
    copper = sum(bool(s.heading.pairs) or any(map(_of_copper, s.heading.parameters)) for s in every)
    if re.search(r"\b(?:om[1-5]|os[12]a?)\b", layout.text, re.IGNORECASE):
        optical += 2
    return optical >= 2 and optical > copper


def _optical(s: Seen) -> int:
    h = s.heading
    said = bool(h.wavelength or "wavelength" in h.modifiers or "fiber" in h.media)
    said = said or any(p.startswith("optical") for p in h.parameters)
    said = said or bool({"reference_method", "splices", "group_index", "launch_condition"} & set(h.fields))
    cells = s.profile.distinct and all(c in hypotheses().wavelengths.nm for c in s.profile.distinct)
    return said + bool(cells)


def _of_copper(parameter: str) -> bool:
    return is_curve(parameter) and parameter not in ("insertion_loss", "return_loss")


def _scheme(every: list[Seen], meanings: list[Meaning], layout: Layout, links: frozenset[str]) -> paired.Scheme:
    keys = [m.keys[n] for m in meanings for n in ("pairing", "disturbing", "disturbed") if n in m.keys]
    values = [c for s in keys for c in s.profile.distinct[:40]]
    for s in every:
        if s.heading.parameters and "pair" in s.inner.modifiers and not s.heading.pairs:
            values += s.profile.distinct[:20]
    named = [m.keys["parameter"] for m in meanings if "parameter" in m.keys]
    said = [heading.read(c) for s in named for c in s.profile.distinct[:60]]
    said += [heading.read(*t.context) for t in layout.tables if t.context]
    # Digits of a label name no pairs.
    said += [s.heading for s in every if not s.heading.wavelength and s.source not in links]
    return paired.decide(said, values, layout.text)


def _end_letters(every: list[Seen]) -> dict[str, str]:
    """Letters such as L and R, or A and B, that tell apart headings which are otherwise equal."""
    by: dict[tuple[Any, ...], set[str]] = {}
    for s in every:
        h = s.heading
        ended = vocabulary.parameter(h.parameters[0]).ends if h.parameters else bool(set(h.fields) & _OF_UNITS)
        if h.ends or not ended:
            continue
        for letter in h.letters:
            by.setdefault((tuple(h.parameters or h.fields), h.pairs, tuple(sorted(h.modifiers))), set()).add(letter)
    count = Counter(frozenset(v) for v in by.values() if len(v) == 2)
    found = next((pair for pair in hypotheses().ends.letters if count.get(frozenset(pair))), None)
    return {found[0]: "local", found[1]: "remote"} if found is not None else {}


def _physics(every: list[Seen], around: Surroundings) -> None:
    """Lengths and delays of known unit, for the unit of the other."""
    for s in every:
        parameter, _ = parameter_of(s.heading, around)
        if not s.numeric or s.heading.modifiers & _SAYS_WHICH - {"value"}:
            continue
        unit = units.units().get(s.heading.unit or s.profile.unit)
        if parameter == "propagation_delay" and around.delays is None and (unit is None or unit.dimension == "time"):
            around.delays = s.profile.values if unit is None else unit.ours(s.profile.values)
        if parameter == "loop_resistance" and around.loops is None and (unit is None or unit.dimension == "resistance"):
            around.loops = s.profile.values if unit is None else unit.ours(s.profile.values)
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
    named = {id(s): n for n, s in parts.items()}
    link = label_of([s for s in seen if s.profile.filled], around.fiber)
    claims: list[tuple[Seen, list[Placed]]] = []
    for s in seen:
        if id(s) in named:
            claims.append((s, [key_column(s, named[id(s)], part_meaning(parts), around, out)]))
        elif s.source == "@block" and s.numeric and link is not None and link is not s:
            claims.append((s, [nowhere(s, f"numbers the records, which {link.source!r} names")]))
        elif s.profile.filled:
            claims.append((s, _scalars(s, around, None, seen, Standing(long, s is link, ends=around.ends))))
    out.placed = assigned(claims, link)
    return out


def _table(found: Found, seen: list[Seen], meaning: Meaning, around: Surroundings) -> PlacedTable:
    out = PlacedTable(found, meaning)
    if meaning.rows == "axes":
        out.placed = [_axis(s) for s in seen]
        return out
    keyed = {id(s): n for n, s in meaning.keys.items()}
    claims: list[tuple[Seen, list[Placed]]] = []
    for s in seen:
        if s.profile.filled and id(s) in keyed:
            claims.append((s, [key_column(s, keyed[id(s)], meaning, around, out, seen)]))
        elif s.profile.filled:
            claims.append((s, _claims(s, seen, meaning, around)))
    relations.add(claims)
    undecided([p for _, own in claims for p in own])
    if meaning.rows == "readings" and "parameter" in meaning.keys:
        row_kinds([p for _, own in claims for p in own])
    if meaning.rows == "readings" and meaning.keys.keys() & {"pairing", "parameter", "end"}:
        for p in (p for _, own in claims for p in own if p.to == _VERDICT):
            p.at_most(doubt("row_has_own"), "a row has its own")
    _verdict_of_link(claims, meaning)
    out.placed = assigned(claims, meaning.label)
    if found.headings_are == "frequencies":
        frequency_headings(out, found, around)
    elif meaning.rows == "points":
        link_headings(out, found, around)
    complete(out)
    step_left(out)
    shapes_back(out, around)
    return out


def _verdict_of_link(claims: list[tuple[Seen, list[Placed]]], meaning: Meaning) -> None:
    """A verdict that is one and the same in all rows of a link, and not of all links, is that of the link."""
    mine = [p for _, own in claims for p in own if p.to == Target("row", "verdict")]
    label = meaning.label
    if label is None or not 1 <= len(mine) <= 2:
        return
    of_link = [p for p in mine if one_each(label, p.seen)]
    if len(mine) == 2 and not of_link and mine[0].seen.profile.distinct == mine[1].seen.profile.distinct:
        # Alike in all rows: that of the link stands before the columns that say what a row is, that of the row behind.
        at = [s for s, _ in claims].index
        keys = [
            at(s) for n, s in meaning.keys.items() if n in ("parameter", "pairing") and any(s is x for x, _ in claims)
        ]
        of_link = [p for p in mine if keys and at(p.seen) < min(keys)]
    if len(of_link) == 1:
        of_link[0].to = _VERDICT
        of_link[0].reason = "verdicts, one in all rows of a link"


def _claims(s: Seen, seen: list[Seen], meaning: Meaning, around: Surroundings) -> list[Placed]:
    """The places that a column of a table may have."""
    part = meaning.rows != "links"
    how = Standing(part, s is meaning.label, part, around.ends)
    if meaning.rows == "points":
        return _of_point(s, meaning, around, how)
    if meaning.rows == "curves":
        cell = curve_cell(s, around, meaning)
        return [cell] if cell is not None else _plain(s, meaning, around, how)
    if meaning.rows == "readings" and "parameter" in meaning.keys and s is not meaning.label:
        return _of_named_row(s, meaning, around)
    return _scalars(s, around, meaning, seen, how)


def _of_named_row(s: Seen, meaning: Meaning, around: Surroundings) -> list[Placed]:
    """A column of a table whose rows name their quantity: a value of it, or a scalar that the column itself names."""
    of_link = _one_for_all(s, meaning)
    parameter, direct = quantity_said(s, around) if of_link else parameter_of(s.heading, around)
    if of_link and not parameter and not s.heading.fields:
        return [nowhere(s, _NO_WORD)]
    if not parameter or is_curve(parameter) or not s.numeric:
        return [row_value(s, around)]
    if parameter == "velocity":
        return [nominal_velocity(s)]
    found = single(s, parameter, direct, around, meaning, "worst_value")
    return [found if found is not None else nowhere(s)]


_NO_WORD = "one number for all rows of a link, of which nothing says what it is"


def _one_for_all(s: Seen, meaning: Meaning) -> bool:
    """Whether a column has one number for all rows of a link: it is a reading of the link, whatever its rows are."""
    return meaning.label is not None and s.numeric and one_each(meaning.label, s)


def _of_point(s: Seen, meaning: Meaning, around: Surroundings, how: Standing) -> list[Placed]:
    """A column of a table whose rows are points, that says nothing of its row."""
    h = s.heading
    if s.source.startswith("../") and s.numeric and not how.label:
        return [nowhere(s, "one number for all points of a curve")]
    parameter, direct = parameter_of(h, around)
    level = h.modifiers & _SAYS_WHICH or dimension_of(h.unit) == "level"
    if how.label or (h.fields and not parameter and not (s.numeric and level)):
        return list(facts(s, how)) or [nowhere(s)]
    if not parameter and not h.fields and _one_for_all(s, meaning):
        parameter, direct = quantity_said(s, around)
        if not parameter:
            return [nowhere(s, _NO_WORD)]
    if "parameter" in meaning.keys and not parameter:
        return [row_value(s, around)]
    if not parameter:
        shaped = by_shape(s, around, meaning)
        return [*facts(s, how), *([shaped] if shaped is not None else [])]
    if parameter == "velocity":
        return [nominal_velocity(s)]
    if is_curve(parameter):
        found = point_of_curve(s, parameter, direct, around, meaning)
    else:
        found = single(s, parameter, direct, around, meaning, "worst_value")
    return [found or nowhere(s)]


def _plain(s: Seen, meaning: Meaning, around: Surroundings, how: Standing) -> list[Placed]:
    """Facts and readings beside whole curves."""
    parameter, direct = parameter_of(s.heading, around)
    if parameter == "velocity":
        return [nominal_velocity(s)]
    out = list(facts(s, how))
    found = single(s, parameter, direct, around, meaning, "worst_value") if parameter else None
    return [*out, *([found] if found is not None and not out else [])]


def _scalars(s: Seen, around: Surroundings, meaning: Meaning | None, seen: list[Seen], how: Standing) -> list[Placed]:
    """A label, or a column of a table of links or of readings."""
    if nameless(s.source) or _UNNAMED.search(s.source):
        return [nowhere(s, "has no name")]
    if (axis := axis_list(s, meaning)) is not None:
        return [axis]
    parameter, direct = quantity_said(s, around)
    out: list[Placed] = []
    if how.label or not (parameter and s.heading.fields in (["verdict"], ["limit_name"])):
        out = list(facts(s, how))
    inherited = ""
    if not parameter and not any(p.score > 0 for p in out):
        parameter = inherited = _inherited(s, seen, around)
    h = s.heading
    if not parameter and around.fiber and h.unit == "dB" and h.modifiers & _SAYS_WHICH:
        parameter, direct = "optical_loss", True
    found = _measured(s, parameter, direct or bool(inherited), around, meaning, seen) if parameter else None
    if found is not None and inherited:
        found.at_most(doubt("left"), "the quantity is that of the column to its left")
    if found is not None and found.what == "verdict" and _of_record(s, seen):
        # The last column under a group of headings: its verdict may be that of the whole record.
        said = "a verdict, the only one, below the heading of a group"
        return [Placed(s, _VERDICT, "", score_of(0.85), said)]
    out += [found] if found is not None else []
    if not out and "wavelength" in h.modifiers and meaning is not None:
        out = [Placed(s, Target("row", "wavelength"), "", spoken(s, "strong"), "wavelengths")]
    return out


def _measured(
    s: Seen, parameter: str, direct: bool, around: Surroundings, meaning: Meaning | None, seen: list[Seen]
) -> Placed | None:
    keyed = meaning is not None and "pairing" in meaning.keys
    if parameter == "velocity" and not s.heading.pairs and not keyed:
        return nominal_velocity(s)
    out = single(s, parameter, direct, around, meaning, _kind(s, parameter, seen, around))
    last = heading.read(s.column.levels[-1]) if len(s.column.levels) > 1 else None
    if out is not None and last is not None and (_OF_AXIS & last.modifiers or (last.unknown and not _says(last))):
        # "points = 60" below a heading that says NEXT is no value of it.
        out.at_most(0.45, f"{s.column.levels[-1]!r} is no word of a value")
    return out


def _says(h: heading.Heading) -> bool:
    """Whether a heading says anything of a value: its quantity, which of its values it is, its pair, end or unit."""
    return bool(h.parameters or h.generics or h.modifiers or h.fields or h.pairs or h.ends or h.unit or h.wavelength)


def _of_record(s: Seen, seen: list[Seen]) -> bool:
    """Whether a verdict takes its quantity from a group above it only, and is the only verdict of its table."""
    if len(s.column.levels) < 2 or s.column.outer or s.source.startswith(("@", "../")):
        return False
    inner = heading.read(s.column.levels[-1])
    if inner.parameters or inner.generics or "verdict" not in inner.fields or s is not seen[-1]:
        return False
    return not any(x is not s and x.profile.verdicts > 0.8 for x in seen)


def _kind(s: Seen, parameter: str, seen: list[Seen], around: Surroundings) -> str:
    """The kind of point that a single value of a curve is of."""
    h = s.heading
    if "margin" in h.modifiers:
        return "worst_margin"
    if "value" in h.modifiers and h.modifiers & {"worst", "maximum"}:
        return "worst_value"
    family = {what_of(x) for x in seen if parameter_of(x.heading, around)[0] == parameter}
    return "worst_margin" if family & {"margin", "limit"} else "worst_value"


def _inherited(s: Seen, seen: list[Seen], around: Surroundings) -> str:
    """The quantity of the column to the left, for headings such as "at MHz" and "pair" that name none."""
    h = s.heading
    other = h.fields and h.fields not in (["verdict"], ["limit_name"])
    which = h.modifiers & {"frequency", "pair", "end", "limit", "margin", "verdict", "value", "worst"} or h.unit
    if not which or other or s.inner.unknown:
        return ""  # An unknown word may be a quantity of its own.
    at = next(i for i, x in enumerate(seen) if x is s)
    for left in reversed(seen[max(0, at - 5) : at]):
        parameter, _ = parameter_of(left.heading, around)
        if parameter:
            return parameter if is_curve(parameter) else ""
        if left.heading.fields and not left.heading.modifiers:
            return ""
    return ""


def _axis(s: Seen) -> Placed:
    """A column of a table of axes: the frequencies, or the name by which curves refer to them."""
    if s.profile.lists > 0.8:
        unit = frequency_unit_of_list(s)
        score = score_of(0.95 if unit.cells == "strong" else 0.8)
        return Placed(s, Target("axes", "frequencies_mhz"), unit.name, score, f"rising frequencies; {unit.why}")
    if s.profile.unique == 1:
        return Placed(s, Target("row", "key"), "", score_of(0.95), "names of axes")
    return nowhere(s)
