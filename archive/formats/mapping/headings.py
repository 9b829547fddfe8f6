"""Tables whose headings are frequencies: each row a curve."""

from __future__ import annotations

import re
from dataclasses import replace

import numpy as np
import pyarrow as pa

from archive.formats.base import numbers, units
from archive.formats.mapping.model import SourceTable
from archive.formats.mapping.row_frame import RowFrame, new_cell
from archive.tables.arrow import Reals

VALUES = "@values"
"""Name of the column that holds the lists made from the columns of frequencies."""

HEADING, VALUE = "@heading", "@value"
"""Names of the columns that a table has whose other headings are links: the link of a row, and its one value."""

_HEADING = re.compile(r"^(?:@|f|f\s*=|freq\w*|at)?[\s_]*(\d+(?:[.,]\d+)?)[\s_]*[\[(]?([kMG]?Hz)?[\])]?$", re.IGNORECASE)
_GROUPED = re.compile(r"\d{1,3}(?:(?:(['’ \u00a0\u202f])\d{3})(?:\1\d{3})*|([.,])\d{3}(?:\2\d{3})+)(?!\d)")
"""A number with marks between its thousands: blanks or apostrophes, or points or commas where there are several."""


def frequency_of(heading: str) -> float | None:
    """The number of a heading such as "1.5", "f 1,5" or "100 MHz" (in MHz where it names a unit), or None."""
    match = _HEADING.match(_GROUPED.sub(lambda m: re.sub(r"\D", "", m.group()), heading.strip()))
    if not match:
        return None
    value = float(match.group(1).replace(",", "."))
    unit = units.find(match.group(2)) if match.group(2) else None
    return float(unit.ours(value)) if unit else value


def axis_of_headings(columns: dict[str, pa.Array], table: SourceTable) -> tuple[dict[str, pa.Array], Reals]:
    """The columns with those of frequencies gathered into one column of lists, and the axis in MHz."""
    unit = units.for_unit(table.frequency_unit, "MHz", "headings")
    found: list[tuple[float, str]] = []
    for name in columns:
        value = None if name in table.by_source else frequency_of(name)
        if value is not None:
            own = re.search("Hz", name)
            found.append((value if own else float(unit.ours(value)), name))
    found.sort()
    listed = [columns[name] for _, name in found]
    rows = len(listed[0]) if listed else 0
    plain = numbers.Writing()
    stacked = np.empty((rows, len(found)))
    for i, column in enumerate(listed):
        stacked[:, i] = numbers.read(column, plain, step=False).values
    flat = stacked.reshape(-1)
    offsets = np.arange(rows + 1, dtype=np.int32) * len(found)
    lists = pa.ListArray.from_arrays(pa.array(offsets), pa.array(flat, mask=np.isnan(flat)))
    taken = {name for _, name in found}
    kept = {k: v for k, v in columns.items() if k not in taken}
    return {**kept, VALUES: lists}, np.array([f for f, _ in found])


def links_of_headings(frame: RowFrame) -> RowFrame:
    """A frame whose other columns are links, as one with a row for each link and row. What stood beside the columns of
    the links holds for each of them, and is counted once."""
    known = [n for n in frame.columns if n in frame.table.by_source or n in frame.table.ignore]
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
