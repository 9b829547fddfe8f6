"""Tables in rows of cells, found without words: rows of one width whose columns are of one type, and headings above.

What is a heading is told by contrast: in the columns in which the rows have numbers or dates, headings have none.
"""

from __future__ import annotations

import re
from bisect import bisect_left
from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from itertools import pairwise
from typing import Any

from archive.formats.base import numbers, units
from archive.formats.draft import heading
from archive.formats.mapping import names
from archive.formats.mapping.headings import frequency_of

Kinds = Callable[[int], list[str]]
Rows = list[list[Any]]

_TYPE = {"n": "n", "d": "d", "t": "x", "w": "x", "v": "x"}
"""Type of a cell by its kind: number, date, text. Names of pairs, such as 12, may be any."""

_MOST_HEADS = 4
"""Most rows of headings and units."""

_RISING = 5


@dataclass
class Body:
    """A table: rows of headings from `head`, its rows from `first` to `stop`, what stands right above."""

    head: int
    header_rows: int
    units_row: bool
    first: int
    stop: int
    headings: list[str]
    levels: list[tuple[str, ...]]
    title: str = ""
    no_headings: bool = False


def filled(row: Sequence[Any]) -> list[int]:
    """Places of the cells that hold anything."""
    return [j for j, c in enumerate(row) if c is not None and str(c).strip()]


@dataclass(frozen=True)
class _Run:
    """Neighbouring rows of one width. at: their numbers, blank rows left out."""

    rows: Rows
    kinds: Kinds
    at: list[int]
    width: int

    @cached_property
    def types(self) -> dict[int, str]:
        """Type of each column that has a clear one: of its lower rows, among which no headings are."""
        below = self.at[min(len(self.at) - 1, max(1, 2 * len(self.at) // 5)) :][:400]
        out = {}
        for j in range(self.width):
            seen = Counter(t for i in below if (t := self.type_of(i, j)))
            if seen and seen.most_common(1)[0][1] >= 0.7 * seen.total():
                out[j] = seen.most_common(1)[0][0]
        return out

    @cached_property
    def full(self) -> list[int]:
        """Columns in which nearly all lower rows hold something."""
        below = self.at[min(len(self.at) - 1, max(1, 2 * len(self.at) // 5)) :][:400]
        held = Counter(j for i in below for j in filled(self.rows[i]))
        return [j for j, n in held.items() if n >= 0.9 * len(below)]

    def lacks(self, i: int) -> bool:
        """Whether a row leaves many columns blank that the lower rows fill: it is one more row of headings."""
        here = set(filled(self.rows[i]))
        return sum(j not in here for j in self.full) > 0.3 * len(self.full)

    def type_of(self, i: int, j: int) -> str:
        """Type of a cell, "" where it is blank or names a pair."""
        kinds = self.kinds(i)
        return _TYPE.get(kinds[j], "") if j < len(kinds) else ""

    def agreement(self, i: int) -> float | None:
        """Share of the cells of a row, in columns of numbers and dates, that are such; None where it has none there."""
        told = [(self.type_of(i, j), t) for j, t in self.types.items() if t != "x"]
        said = [a == b for a, b in told if a]
        return sum(said) / len(said) if said else None


@dataclass
class LastRun:
    """The run of rows that was looked at last, and how many rows of it in a row began no table: a look through rows
    from above to below takes time in proportion to their number, and not to its square."""

    run: _Run | None = None
    missed: int = 0

    def begins_at(self, rows: Rows, kinds: Kinds, i: int, ragged: bool) -> _Run | None:
        """The run that begins at a row; None where so many rows of it began no table that none will."""
        width, last = _run_width(rows, i, ragged), self.run
        n = -1 if last is None or last.width != width else bisect_left(last.at, i)
        if last is None or n < 0 or n == len(last.at) or last.at[n] != i:
            self.run, self.missed = _run(rows, kinds, i, ragged), 0
            return self.run
        self.missed += 1
        return replace(last, at=last.at[n:]) if self.missed < _MOST_MISSED else None


_MOST_MISSED = 500
"""Rows of one run, one after the other, of which none begins a table, before no more is asked."""


def body_at(rows: Rows, kinds: Kinds, i: int, ragged: bool, last: LastRun) -> Body | None:
    """The table whose headings begin at a row, or None. ragged: rows end with their last cell, as those of sheets.
    last: of this look through the rows."""
    here = filled(rows[i])
    if (len(here) < 2 and not (here and here[0] > 0)) or rule(rows[i]):
        return None
    run = last.begins_at(rows, kinds, i, ragged)
    if run is None:
        return None
    body = _body_of(run, i)
    last.missed = 0 if body is not None else last.missed
    return body


def _body_of(run: _Run, i: int) -> Body | None:
    heads = _heads(run) if len(run.at) >= 2 and not _titled(run) else 0
    if not heads or heads >= len(run.at) or run.at[heads - 1] - i >= heads:
        return None
    if run.width == 2 and not _two_columns(run, heads):
        return None
    return _body(run, heads)


def _width(row: Sequence[Any], ragged: bool) -> int:
    return (filled(row) or [-1])[-1] + 1 if ragged else len(row)


def _run_width(rows: Rows, i: int, ragged: bool) -> int:
    return max(_width(r, ragged) for r in rows[i : i + _MOST_HEADS]) if ragged else len(rows[i])


def _run(rows: Rows, kinds: Kinds, i: int, ragged: bool) -> _Run:
    """The rows from one on that are as wide as it; of sheets, as wide or narrower."""
    width = _run_width(rows, i, ragged)
    at: list[int] = []
    k = i
    while k < len(rows):
        here = filled(rows[k])
        if not here:
            after = next((n for n in range(k + 1, min(k + 3, len(rows))) if filled(rows[n])), None)
            if after is None or not at or not _as_wide(rows[after], width, ragged):
                break
            k = after
            continue
        if not _as_wide(rows[k], width, ragged) and not (at and rule(rows[k])):
            break
        at += [] if rule(rows[k]) else [k]
        k += 1
    return _Run(rows, kinds, at, width)


def _as_wide(row: Sequence[Any], width: int, ragged: bool) -> bool:
    if not ragged:
        return len(row) == width
    here = filled(row)
    return len(here) >= min(2, width) and here[-1] < width


def _heads(run: _Run) -> int:
    """How many rows of headings and units a run begins with; 0 where it begins with none."""
    if _frequencies(run.rows[run.at[0]]):
        more = (n for n in range(1, min(_MOST_HEADS, len(run.at))) if not _more_heads(run, run.at[n]))
        return next(more, 1)
    if not any(t != "x" for t in run.types.values()):
        return _heads_of_text(run)
    for n, i in enumerate(run.at[: _MOST_HEADS + 1]):
        agrees = run.agreement(i)
        if agrees is not None and agrees >= 0.75 and not (n and run.lacks(i)) and not _names_pairs(run, i):
            return n
        if _is_label(run, i):
            return 0
    return 0


def _names_pairs(run: _Run, i: int) -> bool:
    """Whether a row is a word and then the numbers of pairs, above columns that all hold numbers."""
    cells = [names.tidy(run.rows[i][j]) for j in filled(run.rows[i])]
    worded = run.type_of(i, 0) == "x" and run.types.get(0, "x") != "x"
    return worded and len(cells) > 2 and all(re.fullmatch(r"[1-8]{1,2}", c) for c in cells[1:])


def _is_label(run: _Run, i: int) -> bool:
    """Whether a row is of a name and its value, or of several, and no headings."""
    return alternate(run.rows, run.kinds, i) or (run.width > 3 and filled(run.rows[i]) in ([0], [0, 1]))


def _more_heads(run: _Run, i: int) -> bool:
    """Whether a row below headings that are frequencies is of units, or of words for the columns beside them."""
    here = filled(run.rows[i])
    return unit_row(run.rows[i]) or (len(here) < 0.5 * len(run.full) and run.lacks(i))


def _heads_of_text(run: _Run) -> int:
    """Headings above rows of nothing but text: words of headings, which the next row has not."""
    words = [sum(k == "w" for k in run.kinds(i)) / max(1, len(filled(run.rows[i]))) for i in run.at[:2]]
    return int(words[0] > 0.5 and words[1] < 0.5 and not _is_label(run, run.at[0]))


def _frequencies(row: Sequence[Any]) -> bool:
    """Headings of which most are rising frequencies."""
    found = [frequency_of(names.tidy(row[j])) for j in filled(row)[1:]]
    rising = [f for f in found if f is not None]
    return len(rising) >= 8 and len(rising) >= 0.5 * len(found) and all(a < b for a, b in pairwise(rising))


def _two_columns(run: _Run, heads: int) -> bool:
    """Whether rows of two cells are a table and no names with values: both are numbers, or the first names a pair."""
    kinds = [(*run.kinds(i), "", "")[:2] for i in run.at[heads:]]
    first, second = ({k[j] for k in kinds} for j in (0, 1))
    worded = all(k == "w" for k in run.kinds(run.at[heads - 1])[:2]) and "w" not in first
    return len(second) == 1 and "" not in second and (worded or first <= {"n", "p", "d", ""})


def _titled(run: _Run) -> bool:
    """Whether a run begins with names and values, or with a name that ends in a colon."""
    first = run.rows[run.at[0]]
    cell = names.tidy(first[filled(first)[0]])
    if re.match(r"^[^\W\d_].{0,60}?(?::(\s|$)|(?:\s?(?:\.\s?){2,}|\s\.\s)\s*\S)", cell):
        return True
    return alternate(run.rows, run.kinds, run.at[0]) and len(run.at) > 1 and alternate(run.rows, run.kinds, run.at[1])


def alternate(rows: Rows, kinds: Kinds, i: int) -> bool:
    """Whether a row is of names of facts, each with a value beside it that is no heading."""
    said = [(k, names.tidy(c)) for k, c in zip(kinds(i), rows[i], strict=False) if names.tidy(c)]
    if not 4 <= len(said) <= 12 or len(said) % 2:
        return False
    named = [heading.read(c.rstrip(" :")) for _, c in said[0::2]]
    return (
        any(h.fields for h in named) and all(k in "wt" for k, _ in said[0::2]) and all(k != "w" for k, _ in said[1::2])
    )


def _body(run: _Run, heads: int) -> Body | None:
    block = [list(run.rows[i]) for i in run.at[:heads]]
    units_at = heads - 1 if heads > 1 and unit_row(block[-1]) else heads
    merged = names.merged([[*r, *[None] * (run.width - len(r))] for r in block[:units_at]])
    if sum(bool(h) for h in merged) < 2:
        return None
    levels = [tuple(h.split(names.JOIN)) for h in merged]
    if units_at < heads:
        levels = with_units(levels, block[-1])
    first = run.at[heads]
    out = Body(run.at[0], units_at, units_at < heads, first, first, names.distinct(merged), levels)
    out.stop = _stop(run, heads)
    return out


def _stop(run: _Run, heads: int) -> int:
    """The row after the last one of a table: before other headings; the same ones again, as on a new page, go on."""
    again = [[names.tidy(c) for c in run.rows[i]] for i in run.at[:heads]]
    last = run.at[heads]
    for i in run.at[heads + 1 :]:
        agrees = run.agreement(i)
        # Below a blank row only what is plainly of the table goes on.
        least = 0.75 if i > last + 1 and filled(run.rows[i - 1]) == [] else 0.5
        fits = agrees >= least if agrees is not None else least < 0.75 and not _is_label(run, i)
        if not fits and [names.tidy(c) for c in run.rows[i]] not in again:
            break
        last = i
    return last + 1


def points_at(rows: Rows, kinds: Kinds, i: int) -> Body | None:
    """A table without headings below a label or a title: rows of as many numbers each, of which the first rises."""
    before, width = -float("inf"), len(rows[i])
    for k in range(i, i + _RISING):
        if k >= len(rows) or not 2 <= len(rows[k]) == width or set(kinds(k)) != {"n"}:
            return None
        first = numbers.cell_number(str(rows[k][0]).strip().replace(",", "."))
        if first is None or first[0] <= before:
            return None
        before = first[0]
    stop = next((k for k in range(i, len(rows)) if len(rows[k]) != width or set(kinds(k)) != {"n"}), len(rows))
    heads = names.distinct([""] * width)
    return Body(i, 0, False, i, stop, heads, [("",)] * width, no_headings=True)


def unit_row(row: Sequence[Any]) -> bool:
    """Whether every filled cell of a row is a unit."""
    said = [names.tidy(row[j]).strip("[]() ") for j in filled(row)]
    return bool(said) and all(not c[:1].isdigit() and (units.find(c) or c in ("-", "–")) for c in said)


def with_units(levels: list[tuple[str, ...]], row: Sequence[Any]) -> list[tuple[str, ...]]:
    """Headings with the units that stand in a row of their own."""
    said = [names.tidy(u) for u in row] + [""] * len(levels)
    out = [(*lv[:-1], f"{lv[-1]} [{u}]") if u and lv[-1] else lv for lv, u in zip(levels, said, strict=False)]
    return [(*lv[:-1], re.sub(r"\[[\[(](.*)[\])]\]$", r"[\1]", lv[-1])) for lv in out]


def rule(row: Sequence[Any]) -> bool:
    """Whether a row is a line of dashes."""
    said = [str(row[j]).strip() for j in filled(row)]
    return bool(said) and all(re.fullmatch(r"[-=_*+~#|. ]{2,}", c) for c in said)
