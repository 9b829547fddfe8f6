"""Cells as numbers: decimal commas, thousands marks, bounds such as >70, units written in the cell."""

from __future__ import annotations

import math
import re
from collections.abc import Collection, Mapping
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from archive.formats.base.units import Unit, find
from archive.tables.decimals import decimal_steps

_PLAIN = r"^[+-]?(?:\d+(?:\.\d*)?|\.\d+)$"
_CELL = re.compile(
    r"^(?P<sign>[<>≤≥]=?)?\s*(?P<number>[+-]?(?:\d+(?:\.\d*)?|\.\d+)(?:[eE][+-]?\d+)?)\s*(?P<unit>\D.*)?$"
)
_BLANKS = "\u00a0\u202f\u2009\u2007"
_APOSTROPHES = "'\u2019\u02bc"


@dataclass(frozen=True)
class Writing:
    """How a layout writes numbers: decimal mark, thousands mark ("" where it has none), cells that say nothing, marks
    beside numbers, such as the one of 6.1*, and what each says ("marginal", "pass", "fail", "note")."""

    decimal: str = "."
    thousands: str = ""
    empty: frozenset[str] = frozenset()
    beside: tuple[tuple[str, str], ...] = ()

    @property
    def between_thousands(self) -> str:
        """A pattern of what stands between thousands: any blank where the layout has one, any apostrophe."""
        return _between(self.thousands, f" {_BLANKS}")

    @property
    def within_lists(self) -> str:
        """The same in a list whose numbers plain blanks part: "" where only a plain blank would stand there."""
        return _between(self.thousands, _BLANKS)

    def without_marks(self, cells: Any) -> Any:
        """A column of text without the marks beside its numbers."""
        return pc.replace_substring_regex(cells, self._pattern, r"\1") if self.beside else cells

    def marked(self, cells: Any) -> dict[str, Any]:
        """Which cells of a column of text have a mark beside a number: boolean arrays by what marks say."""
        out: dict[str, Any] = {}
        for mark, says in self.beside:
            pattern = rf"\d\s*{re.escape(mark)}\s*$|^\s*{re.escape(mark)}\s*[<>+-]?\s*[.,]?\d"
            found = np.asarray(pc.fill_null(pc.match_substring_regex(cells, pattern), False))
            out[says] = out[says] | found if says in out else found
        return out

    @property
    def _pattern(self) -> str:
        any_of = "|".join(re.escape(m) for m, _ in sorted(self.beside, key=lambda b: -len(b[0])))
        return rf"^\s*(?:{any_of})?\s*(.*?\d.*?)\s*(?:{any_of})?\s*$"


def _between(thousands: str, blanks: str) -> str:
    if not thousands.strip():
        return f"[{blanks}]" if thousands else ""
    return f"[{_APOSTROPHES}]" if thousands in _APOSTROPHES else re.escape(thousands)


@dataclass(frozen=True, order=True)
class Change:
    """What converting did to the numbers of a column: how they were found, and how they were read."""

    found: str
    read: str


@dataclass(frozen=True)
class Numbers:
    """Numbers of a column, in the table's unit.

    values: float64 with NaN where there is none; bound: int8, 1 for "more than", -1 for "less than"; step: float64, the
    step of the number as written, NaN where it is not known; bad: bool, cells that are there and are no number;
    found: the cells as text where converting changed more than their notation, else null; None where none did.
    changes: what converting did to some of them. marked: bool by what a mark beside the number says; None where the
    layout has no such marks.
    """

    values: Any
    bound: Any
    step: Any
    bad: Any
    found: Any
    changes: frozenset[Change] = frozenset()
    marked: dict[str, Any] | None = None

    def __len__(self) -> int:
        return len(self.values)


def read(cells: Any, writing: Writing, unit: Unit | None = None, negative: bool = False, step: bool = True) -> Numbers:
    """A column as numbers in the table's unit.

    cells: Arrow array of text (or a dictionary of it) or of float64. unit: the unit of its numbers, None to leave them.
    negative: the sign is turned. step=False: steps are not looked for.
    """
    if pa.types.is_dictionary(cells.type):
        one = read(cells.dictionary, writing, unit, negative, step)
        at = pc.fill_null(cells.indices, len(one)).to_numpy(zero_copy_only=False)
        return _taken(one, at)
    if pa.types.is_null(cells.type):
        cells = cells.cast(pa.string())
    n = len(cells)
    bound, foreign = np.zeros(n, dtype=np.int8), None
    changes: set[Change] = set()
    marked: dict[str, Any] | None = None
    if pa.types.is_floating(cells.type):
        values = cells.to_numpy(zero_copy_only=False).astype(np.float64, copy=False)
        # A number that is none was a word such as nan; a missing one is null.
        there = np.ones(n, dtype=bool) if cells.null_count == 0 else np.asarray(cells.is_valid())
        bad = there & ~np.isfinite(values)
        # Cells of workbooks and JSON do not show their zeros: the finest step of the column counts for all of it.
        steps = decimal_steps(values) if step else np.full(n, np.nan)
        if step and np.isfinite(steps).any():
            steps = np.where(there, np.nanmin(steps), np.nan)
    else:
        marked = writing.marked(cells) if writing.beside else None
        values, steps, bound, bad, foreign = _text(writing.without_marks(cells), writing, step)
        changes.update(marks(cells, writing) if not np.isnan(values).all() else ())
    changed = np.zeros(n, dtype=bool)
    if foreign is not None:
        values, steps, changed = _own_units(values, steps, foreign, unit, changed, bad)
        named = {find(foreign[i]) for i in np.flatnonzero(changed & ~np.isnan(values)).tolist() if foreign[i]}
        changes |= {of_unit(u) for u in named if u is not None}
        if unit is not None and unit.changes and any(x is None for x in foreign[~np.isnan(values)]):
            changes.add(of_unit(unit))
    elif unit is not None and unit.changes:
        values = unit.ours(values)
        steps = unit.scaled(steps)
        changed[:] = True
        if not np.isnan(values).all():
            changes.add(of_unit(unit))
    if negative:
        values, bound = -values, -bound
        turned = ~np.isnan(values) & (values != 0)
        changed |= turned
        changes |= {TURNED} if turned.any() else set()
        values = values + 0.0
    found = None
    for of_mark in (marked or {}).values():
        changed |= of_mark
    if changed.any():
        mask = changed & ~np.isnan(values)
        found = pc.if_else(pa.array(mask), text(cells), pa.scalar(None, pa.string()))
    return Numbers(values, bound, steps, bad, found, frozenset(changes), marked)


TURNED = Change("losses below zero", "losses above zero")


def of_unit(unit: Unit) -> Change:
    """Numbers of a unit that is not the table's."""
    return Change(f"numbers in {unit.name}", f"numbers in {unit.target}")


def marks(cells: Any, writing: Writing) -> set[Change]:
    """The marks of a column of text that are not those of the tables: a decimal comma, thousands marks."""
    out = set()
    if writing.decimal != "." and _any(cells, rf"\d{re.escape(writing.decimal)}\d"):
        out.add(Change(f"numbers with the decimal mark {writing.decimal!r}", "numbers with the decimal mark '.'"))
    if writing.thousands and _any(cells, rf"\d{writing.between_thousands}\d\d\d"):
        out.add(Change(f"numbers with the thousands mark {writing.thousands!r}", "numbers without one"))
    for mark, _ in writing.beside:
        if _any(cells, rf"\d\s*{re.escape(mark)}|{re.escape(mark)}\s*[<>+-]?\d"):
            out.add(Change(f"numbers marked {mark!r}", "numbers without the mark"))
    return out


def _any(cells: Any, pattern: str) -> bool:
    return bool(pc.any(pc.match_substring_regex(cells, pattern), min_count=0).as_py())


def text(cells: Any) -> Any:
    """A column as text: numbers in their shortest form, whole ones without a fraction."""
    if pa.types.is_dictionary(cells.type):
        return cells.cast(cells.type.value_type)
    if pa.types.is_floating(cells.type):
        return pc.cast(cells, pa.string())
    if pa.types.is_null(cells.type):
        return cells.cast(pa.string())
    return cells


def _text(cells: Any, writing: Writing, step: bool) -> tuple[Any, Any, Any, Any, Any]:
    """values, steps, bound, bad, units named in cells (None where there is none)."""
    n = len(cells)
    plain = plain_digits(cells, writing)
    usual = pc.fill_null(pc.match_substring_regex(plain, _PLAIN), False)
    values = pc.cast(pc.if_else(usual, plain, pa.scalar(None, pa.string())), pa.float64())
    values = pc.fill_null(values, math.nan).to_numpy(zero_copy_only=False).copy()
    steps = np.full(n, np.nan)
    if step:
        dots = pc.fill_null(pc.find_substring(plain, "."), -1).to_numpy(zero_copy_only=False)
        length = pc.fill_null(pc.binary_length(plain), 0).to_numpy(zero_copy_only=False)
        decimals = np.where(dots < 0, 0, length - dots - 1)
        steps = np.where(np.isnan(values), np.nan, _TENTHS[np.minimum(decimals, len(_TENTHS) - 1)])
    bound, bad = np.zeros(n, dtype=np.int8), np.zeros(n, dtype=bool)
    odd = np.flatnonzero(np.asarray(pc.and_(pc.invert(usual), plain.is_valid())))
    if not len(odd):
        return values, steps, bound, bad, None
    foreign: Any = None
    for i, cell in zip(odd.tolist(), plain.take(pa.array(odd)).to_pylist(), strict=True):
        one = cell_number(cell)
        if one is None:
            if cell.strip().casefold() not in writing.empty and cell.strip():
                bad[i] = True
            continue
        values[i], bound[i], steps[i], unit = one
        if unit:
            foreign = np.full(n, None, dtype=object) if foreign is None else foreign
            foreign[i] = unit
    return values, steps, bound, bad, foreign


_TENTHS = np.array([1.0] + [float(f"1e-{d}") for d in range(1, 13)])


def plain_digits(cells: Any, writing: Writing) -> Any:
    """Text of numbers with a decimal point, no thousands marks and a plain minus sign."""
    out = pc.utf8_trim(cells, characters=" \t" + _BLANKS)
    if writing.thousands:
        pattern = writing.between_thousands
        out = pc.replace_substring_regex(out, rf"(\d){pattern}(\d\d\d)", r"\1\2")
        out = pc.replace_substring_regex(out, rf"(\d){pattern}(\d\d\d)", r"\1\2")
    if writing.decimal != ".":
        out = pc.replace_substring(out, writing.decimal, ".")
    return pc.replace_substring(out, "\u2212", "-")


@lru_cache(maxsize=65536)
def cell_number(cell: str) -> tuple[float, int, float, str] | None:
    """value, bound, step and unit of a cell with a decimal point, such as "> 70.0 dB", or None where it is none."""
    match = _CELL.match(cell.strip())
    if not match:
        return None
    name = ""
    if match["unit"] and match["unit"].strip():
        unit = find(match["unit"].strip())
        if unit is None:
            return None
        name = unit.name
    sign = match["sign"] or ""
    bound = 1 if sign[:1] in (">", "≥") else -1 if sign else 0
    digits, _, power = match["number"].lower().partition("e")
    decimals = len(digits.partition(".")[2]) - int(power or 0)
    value = float(match["number"])
    return (value, bound, float(f"1e{-decimals}"), name) if math.isfinite(value) else None


def _own_units(values: Any, steps: Any, named: Any, unit: Unit | None, changed: Any, bad: Any) -> tuple[Any, Any, Any]:
    """Where a cell names its unit, that one counts; a unit of another dimension makes the cell bad."""
    for name in {x for x in named if x}:
        own = find(name)
        at = named == name
        assert own is not None
        if unit is not None and own.dimension != unit.dimension:
            bad |= at
            continue
        if own.changes:
            values[at] = own.ours(values[at])
            steps[at] = own.scaled(steps[at])
            changed |= at
    rest = np.array([x is None for x in named])
    if unit is not None and unit.changes:
        values[rest] = unit.ours(values[rest])
        steps[rest] = unit.scaled(steps[rest])
        changed |= rest
    return values, steps, changed


def _taken(one: Numbers, at: Any) -> Numbers:
    """The numbers of a dictionary spread over its column; position len(one) is no cell."""
    nan, zero = np.append(one.values, np.nan), np.append(one.bound, np.int8(0))
    found = None
    if one.found is not None:
        found = one.found.take(pa.array(np.where(at == len(one), 0, at)))
        found = pc.if_else(pa.array(at == len(one)), pa.scalar(None, pa.string()), found) if len(one) else None
    marked = None if one.marked is None else {says: np.append(m, False)[at] for says, m in one.marked.items()}
    return Numbers(
        nan[at], zero[at], np.append(one.step, np.nan)[at], np.append(one.bad, False)[at], found, one.changes, marked
    )


def writing(decimal: str, thousands: str, empty: Collection[str], beside: Mapping[str, str] | None = None) -> Writing:
    """A Writing from what a mapping says."""
    return Writing(decimal, thousands, frozenset(e.casefold() for e in empty), tuple((beside or {}).items()))
