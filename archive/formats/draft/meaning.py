"""What one row of a table is: a link, a reading, a point of a curve, a whole curve; and which columns say which one."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from functools import lru_cache
from itertools import combinations
from typing import Any

import numpy as np

from archive import vocabulary
from archive.formats.base import units
from archive.formats.draft import heading
from archive.formats.draft.columns import Seen, runs_of
from archive.formats.draft.dependence import decided
from archive.formats.draft.identifiers import alike
from archive.formats.draft.keys import PAIR, TESTS
from archive.formats.draft.layout import Found, nameless
from archive.formats.draft.placing import Meaning
from archive.formats.draft.relations import end_by_need, parameter_by_need

NAMES = frozenset(("id", "name", "nr", "no"))
"""Headings that name the thing of their row or section, whatever it is."""


def meaning_of(found: Found, seen: list[Seen], fiber: bool, alone: bool, key: Seen | None = None) -> Meaning:
    """The meaning of a table's rows. alone: the table's records are told by its own columns, not by blocks. key: the
    column that names the link of a row in the words of another table."""
    out = Meaning("links")
    filled = [s for s in seen if s.profile.filled]
    out.label = label_of(filled, fiber) or key
    runs = runs_of(out.label.column.cells, found.record) if out.label is not None else _blocks(found)
    out.per_record = found.rows / max(1, len(set(runs)))
    axis = frequency_of(filled, list(zip(runs, found.run, strict=True)) if len(found.run) == len(runs) else runs)
    free = [s for s in filled if s is not out.label and s is not axis and not s.column.part]
    _keys(out, free)
    _pair_columns(out, [s for s in filled if s is not axis and not s.column.part])
    if axis is not None:
        out.keys["frequency"] = axis
    parameter_by_need(out, [s for s in free if s not in out.keys.values()], filled)
    end_by_need(out, [s for s in free if s not in out.keys.values()], runs)
    _rows(out, found, filled, axis, alone)
    if out.rows == "links":
        kept = ("unit", "wavelength", *(("direction",) if fiber else ()))
        out.keys = {k: s for k, s in out.keys.items() if k in kept}
        out.words = {k: w for k, w in out.words.items() if k in kept}
    return out


def _blocks(found: Found) -> list[Any]:
    return list(found.record) or [0] * found.rows


def _keys(out: Meaning, free: list[Seen]) -> None:
    """The first column that passes the test of each key."""
    for name, test in TESTS.items():
        for s in free:
            if s in out.keys.values():
                continue
            words = test(s)
            if words is not None:
                out.keys[name], out.words[name] = s, words
                break


def _rows(out: Meaning, found: Found, filled: list[Seen], axis: Seen | None, alone: bool) -> None:
    lists = [s for s in filled if s.profile.lists > 0.8]
    whole = lists and ("parameter" in out.keys or (out.per_record > 1.2 and all(s.heading.parameters for s in lists)))
    told = out.keys.keys() & {"parameter", "pairing", "disturbed", "wavelength", "end", "subject"}
    if found.headings_are == "frequencies" or whole:
        out.rows, out.reason = "curves", "each row is a whole curve"
    elif axis is not None:
        out.rows, out.reason = "points", "frequencies rise from row to row"
    elif told and out.per_record > 1.2:
        out.rows, out.reason = "readings", "several rows per record, told apart by " + ", ".join(out.keys)
    elif "parameter" in out.keys and not alone:
        out.rows, out.reason = "readings", "rows name their quantity"


def part_keys(seen: list[Seen]) -> dict[str, Seen]:
    """Labels of blocks that say which part of a record each block is."""
    out: dict[str, Seen] = {}
    for name, test in TESTS.items():
        if name in ("unit", "origin", "kind"):
            continue
        for s in seen:
            if s.profile.filled and s not in out.values() and len(s.profile.distinct) > 1 and test(s) is not None:
                out[name] = s
                break
    return out if "parameter" in out or "pairing" in out else {}


def part_meaning(parts: dict[str, Seen]) -> Meaning:
    """The meaning of labels that say which part of a record a block is."""
    return Meaning("labels", dict(parts), {n: TESTS[n](s) or {} for n, s in parts.items()})


def label_of(seen: list[Seen], fiber: bool) -> Seen | None:
    """The column, or the label of blocks, with the labels of links."""
    return next((s for _, s in labels(seen, fiber)), None)


def labels(seen: list[Seen], fiber: bool) -> list[tuple[float, Seen]]:
    """Columns that may hold the labels of links, the likeliest first, by words and by what their cells are."""
    found = [(score, s) for i, s in enumerate(seen) if (score := _label_score(s, i, fiber, seen)) > 0]
    return sorted(found, key=lambda x: -x[0])


def _label_score(s: Seen, at: int, fiber: bool, seen: list[Seen]) -> float:
    p, h = s.profile, s.own
    if nameless(s.source) or h.parameters or h.modifiers & {"frequency", "margin"} or p.dates or _other(s):
        return 0.0
    named = "link_label" in h.fields or (fiber and "fiber" in h.media and not h.fields)
    weak = not named and (_cable_named(s) or h.text.strip().casefold() in NAMES or "port" in h.fields[:1])
    if not named and not weak:
        return _label_blind(s, at, seen)
    if not named and s.numeric:
        return 0.0
    score = (2.0 if named else 0.5) + min(1.0, len(p.distinct) / max(1, 0.2 * p.n)) - 0.01 * at - 0.3 * len(h.unknown)
    score += 0.4 * (h.fields[:1] == ["link_label"])
    # A plain number may be that of the row, or of the section: a label beside it is surer.
    score -= 0.7 * s.numeric + 1.7 * (s.numeric and s.source == "@block")
    return max(score, 0.01)


def _other(s: Seen) -> bool:
    p = s.profile
    return p.verdicts > 0.5 or p.cables > 0.5 or p.limits > 0.5


def _cable_named(s: Seen) -> bool:
    """A column headed as cable whose cells are no kinds of cable but names of cables."""
    p = s.profile
    if s.own.fields[:1] != ["cable"] or p.cables >= 0.1 or len(p.distinct) < 2:
        return False
    return p.unique > 0.5 or (len(p.distinct) > 2 and all(re.search(r"\d", c) for c in p.distinct))


def _label_blind(s: Seen, at: int, seen: list[Seen]) -> float:
    """A column of which no word speaks: identifiers of one pattern, each in one run, or that decide other columns."""
    p, h = s.profile, s.own
    if h.says or h.unit or s.source.startswith(("@", "line ", "row ")) or len(p.distinct) < 2 or p.lists > 0.5:
        return 0.0
    if not alike(p.distinct) or (s.numeric and (p.unit or p.decimals)):
        return 0.0
    runs = sum(a != b for a, b in zip(p.texts, p.texts[1:], strict=False)) + 1
    many = decided(s, seen)
    if runs > 1.2 * len(set(p.texts)) and many < _DECIDED:
        return 0.0
    return 0.4 - 0.01 * at + 0.2 * (at == 0) + 0.1 * min(many, 3)


_DECIDED = 2
"""Columns that a label must decide where links come again and again."""


def frequency_of(seen: list[Seen], runs: Sequence[Any]) -> Seen | None:
    """The column of frequencies that rise within each record, or None."""
    named = [s for s in seen if _is_frequency(s)]
    free = [s for s in seen if not s.own.says and not s.own.unit]
    known = next((s for s in named if _rises(s, runs, 4, 2.5)), None)
    return known or next((s for s in free if _rises(s, runs, 8, np.inf) and _like_an_axis(s, runs)), None)


def _rises(s: Seen, runs: Sequence[Any], least: int, over: float) -> bool:
    """Whether numbers rise within records: at least so often, and so many times as often as they fall."""
    values = s.profile.values
    if values is None or s.profile.numeric < 0.95 or s.profile.filled < 5:
        return False
    rises = falls = 0
    for i in range(1, min(len(values), len(runs))):
        if runs[i] != runs[i - 1] or not np.isfinite(values[i]) or not np.isfinite(values[i - 1]):
            continue
        rises += values[i] > values[i - 1]
        falls += values[i] <= values[i - 1]
    lengths = len(values) / max(1, falls + len({repr(r) for r in runs[: len(values)]}))
    steady = falls == 0 if over == np.inf else rises > over * falls
    return rises >= least and lengths >= 4 and steady


def _like_an_axis(s: Seen, runs: Sequence[Any]) -> bool:
    """Numbers above zero that go beyond 20, and neither name pairs nor number the rows."""
    values = s.profile.values[np.isfinite(s.profile.values)]
    if set(s.profile.distinct) <= {"12", "36", "45", "78"}:
        return False
    if bool((np.diff(values) == 1).all()) and len({repr(r) for r in runs}) > 1:
        return False  # A number that counts on from record to record is that of the row.
    return bool(values.min() > 0 and values.max() > 20)


def _is_frequency(s: Seen) -> bool:
    h = s.own
    if h.parameters or h.generics or h.modifiers & {"limit", "margin", "value", "start", "stop", "step"}:
        return False
    unit = units.units().get(h.unit)
    return "frequency" in h.modifiers or (unit is not None and unit.dimension == "frequency")


def _pair_columns(out: Meaning, seen: list[Seen]) -> None:
    """Two columns of pairs that name a combination together, where quantities of combinations have both. A third may
    name the pair of the other rows.

    Where the order of the two counts and no word says which disturbs which, they are less sure.
    """
    free = [s for n, s in out.keys.items() if n != "pairing"]
    mine = [s for s in seen if s is not out.label and s not in free and _one_pair(s)]
    couples = [(a, b) for a, b in combinations(mine, 2) if any(_both(a, b))]
    if len(mine) == 1 and mine[0] is out.keys.get("pairing"):
        mine[0].heading.unknown = []  # Its cells say what it is, whatever its heading may be.
    if len(couples) != 1 or len(mine) > 3:
        return
    (couple,) = couples
    per = _quantities(*couple, out.keys.get("parameter"), seen)
    if not per or not per <= {"combination", "ordered"}:
        return
    backwards = "disturbed" in couple[0].own.modifiers or "disturbing" in couple[1].own.modifiers
    said = backwards or "disturbing" in couple[0].own.modifiers or "disturbed" in couple[1].own.modifiers
    out.keys.pop("pairing", None)
    rest = [s for s in mine if s not in couple]
    order = [*(couple[::-1] if backwards else couple), *rest]
    for name, s in zip(("disturbing", "disturbed", "pairing"), order, strict=False):
        out.keys[name] = s
        out.words[name] = {c: _contacts(c) for c in s.profile.distinct}
        s.heading.unknown = []
        if "ordered" in per and not said and s in couple:
            s.column.doubt = "nothing says which of the two pairs disturbs the other"


def _both(one: Seen, other: Seen) -> Iterator[bool]:
    """Of each row whether two columns have a cell."""
    cells = zip(one.column.cells, other.column.cells, strict=True)
    return (a not in (None, "") and b not in (None, "") for a, b in cells)


def _contacts(cell: str) -> str:
    """A cell that names one pair by its contacts, as 1-2; "" where it is anything else."""
    return f"{cell.strip()[0]}-{cell.strip()[-1]}" if re.fullmatch(PAIR, cell.strip()) else ""


def _one_pair(s: Seen) -> bool:
    """Whether every cell names one pair by its contacts."""
    h, some = s.own, s.profile.distinct
    return len(some) > 1 and not (h.parameters or h.generics or h.unit) and all(map(_contacts, some))


def _quantities(one: Seen, other: Seen, parameter: Seen | None, seen: list[Seen]) -> set[str]:
    """Of the rows in which both columns have a pair, different ones: what their quantities are measured of ("pair",
    "combination", "ordered"); nothing where both name one pair or no quantity is named."""
    rows = [i for i, both in enumerate(_both(one, other)) if both]
    if any(one.column.cells[i] == other.column.cells[i] for i in rows):
        return set()
    if parameter is not None:
        return {_per(str(parameter.column.cells[i])) for i in rows}
    return {_per(*s.column.levels) for s in seen if s.heading.parameters or s.heading.generics}


@lru_cache(maxsize=4096)
def _per(*levels: str) -> str:
    """What the quantity that some words name is measured of."""
    said = heading.read(*levels)
    if said.parameters:
        return vocabulary.parameter(said.parameters[0]).per
    return "combination" if "crosstalk" in said.generics else ""
