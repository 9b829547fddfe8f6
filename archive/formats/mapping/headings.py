"""Tables whose headings are frequencies: each row a curve."""

from __future__ import annotations

import re
from collections import Counter
from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np
import pyarrow as pa

from archive.errors import Trouble
from archive.formats.base import numbers, units, words
from archive.formats.mapping import names
from archive.formats.mapping.model import Mapping, SourceTable
from archive.formats.mapping.row_frame import RowFrame, new_cell
from archive.tables.arrow import Reals

VALUES = "@values"
"""Name of the column that holds the lists made from the columns of frequencies."""

BOUNDS = "@bounds"
"""Name of the column of lists that say which of these values are bounds: 1 for more than, -1 for less than, 0 for
neither. It is there where any is, and holds no cells of its own."""

HEADING, VALUE = "@heading", "@value"
"""Names of the columns that a table has whose other headings are links: the link of a row, and its one value."""

_MARKS = "'’ \u00a0\u202f\u2009"
_HEADING = re.compile(
    rf"^(@|f|f\s*=|freq\w*|at)?[\s_]*(\d[\d.,{_MARKS}]*)[\s_]*(?:[\[(]?([kMG]?Hz)[\])]?)?$", re.IGNORECASE
)


def frequency_of(heading: str, thousands: str = "") -> float | None:
    """The number of a heading such as "1.5", "f 1,5", "100 MHz" or "1'000 [kHz]" (in MHz where it names a unit), or
    None. thousands: what the layout writes between thousands; of two marks the last is that of decimals."""
    found = _parts(heading, thousands)
    return None if found is None else found[1]


@lru_cache(maxsize=8192)
def _parts(heading: str, thousands: str) -> tuple[tuple[str, bool], float] | None:
    """How a heading is written (word before it, whether a unit stands in it), and its frequency."""
    match = _HEADING.match(heading.replace(names.JOIN, " ").strip())
    if not match:
        return None
    word, digits, name = match.groups()
    digits = digits.rstrip(_MARKS).translate(dict.fromkeys(map(ord, _MARKS)))
    marks = [c for c in digits if c in ".,"]
    for mark in set(marks):
        if mark == thousands or marks.count(mark) > 1 or mark != marks[-1]:
            digits = digits.replace(mark, "")
    try:
        value = float(digits.replace(",", "."))
    except ValueError:
        return None
    unit = units.find(name) if name else None
    form = ((word or "").rstrip("= ").casefold(), unit is not None)
    return form, float(unit.ours(value)) if unit else value


@dataclass(frozen=True)
class Gathered:
    """columns: those that are no frequencies, and the lists of values. axis: float64, MHz. bad: rows with a cell that
    is no number, each with its heading and its text."""

    columns: dict[str, pa.Array]
    axis: Reals
    bad: dict[int, tuple[str, str]]
    changes: frozenset[numbers.Change] = frozenset()


def axis_of_headings(columns: dict[str, pa.Array], table: SourceTable, mapping: Mapping) -> Gathered:
    """The columns with those of frequencies gathered into one column of lists.

    Frequencies are written alike: of headings that could be some, such as "1.00 MHz" and "F31", those of the most
    common form are. Errors: Trouble where no heading is a frequency.
    """
    unit = units.for_unit(table.frequency_unit, "MHz", "headings")
    known = {*table.cells, *table.ignore}
    parts = {n: p for n in columns if n not in known and (p := _parts(n, mapping.thousands)) is not None}
    if not parts:
        raise Trouble(
            "no heading is a frequency, as the mapping says they are",
            code="export.headings-missing",
            where=f"table {table.name}",
            found=", ".join(n for n in columns if n not in known)[:160],
            expected="headings such as 100, 100 MHz or f=100",
            remedy='leave headings_are = "frequencies" out of the mapping, or name the rows of headings',
        )
    form = Counter(p[0] for p in parts.values()).most_common(1)[0][0]
    found = sorted((f if form[1] else float(unit.ours(f)), n) for n, (own, f) in parts.items() if own == form)
    writing = numbers.writing(mapping.decimal, mapping.thousands, (*words.empties(), *mapping.empty), mapping.marks)
    stacked, odd = _numbers([columns[name] for _, name in found])
    bound: Reals | None = None
    bad: dict[int, tuple[str, str]] = {}
    changes: set[numbers.Change] = set()
    for i in odd:
        name = found[i][1]
        read = numbers.read(columns[name], writing, step=False)
        stacked[:, i] = read.values
        if read.bound.any():
            bound = np.zeros(stacked.shape) if bound is None else bound
            bound[:, i] = read.bound
        changes |= read.changes
        for row in np.flatnonzero(read.bad).tolist():
            bad.setdefault(row, (name, str(columns[name][row].as_py())))
    flat = stacked.reshape(-1)
    missing = np.isnan(flat) if odd else None
    offsets = np.arange(len(stacked) + 1, dtype=np.int32) * len(found)
    lists = pa.ListArray.from_arrays(pa.array(offsets), pa.array(flat, mask=missing))
    taken = {name for _, name in found}
    kept = {k: v for k, v in columns.items() if k not in taken}
    if bound is not None:
        kept[BOUNDS] = pa.ListArray.from_arrays(pa.array(offsets), pa.array(bound.reshape(-1)))
    return Gathered({**kept, VALUES: lists}, np.array([f for f, _ in found]), bad, frozenset(changes))


def _numbers(columns: list[pa.Array]) -> tuple[Reals, list[int]]:
    """Columns beside each other, (rows, columns); and which of them are not all plain numbers, so that their cells are
    still to be read."""
    stacked = np.empty((len(columns[0]), len(columns)))
    plain = [i for i, c in enumerate(columns) if pa.types.is_float64(c.type) and not c.null_count]
    for i in plain:
        stacked[:, i] = columns[i].to_numpy()
    finite = np.asarray(np.isfinite(stacked).all(axis=0), np.bool_)
    return stacked, sorted({*range(len(columns))} - {i for i in plain if finite[i]})


def links_of_headings(frame: RowFrame) -> RowFrame:
    """A frame whose other columns are links, as one with a row for each link and row. What stood beside the columns of
    the links holds for each of them, and is counted once."""
    known = [
        n for n in frame.columns if n in frame.table.cells or n in frame.table.by_source or n in frame.table.ignore
    ]
    links = [n for n in frame.columns if n not in known and not re.fullmatch(r"column \d+", n)]
    rows = np.tile(np.arange(frame.rows), len(links))
    link = np.repeat(np.arange(len(links), dtype=np.int32), frame.rows)
    order = np.argsort(frame.record[rows], kind="stable")
    rows, link = rows[order], link[order]
    cells = [numbers.text(frame.columns[n]) for n in links]
    columns = {n: frame.columns[n].take(pa.array(rows)) for n in known}
    columns[HEADING] = pa.DictionaryArray.from_arrays(pa.array(link), pa.array(links, type=pa.string()))
    whole = pa.concat_arrays(cells) if cells else pa.array([], type=pa.string())
    columns[VALUE] = whole.take(pa.array(order))
    place = None if frame.place is None else frame.place[rows]
    above = {n: np.array([new_cell() for _ in range(frame.rows)], dtype=np.int64)[rows] for n in known}
    uncounted = frozenset({HEADING})
    return replace(frame, columns=columns, record=frame.record[rows], place=place, above=above, uncounted=uncounted)
