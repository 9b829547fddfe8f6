"""Tables whose headings are frequencies: each row a curve."""

from __future__ import annotations

import re
from typing import Any

import numpy as np
import pyarrow as pa

from archive.formats.mapping import numbers, units
from archive.formats.mapping.model import Table

VALUES = "@values"
"""Name of the column that holds the lists made from the columns of frequencies."""

_HEADING = re.compile(r"^(?:@|f|f\s*=|freq\w*|at)?[\s_]*(\d+(?:[.,]\d+)?)\s*([kMG]?Hz)?$", re.IGNORECASE)


def frequency_of(heading: str) -> float | None:
    """The number of a heading such as "1.5", "f 1,5" or "100 MHz" (in MHz where it names a unit), or None."""
    match = _HEADING.match(heading.strip())
    if not match:
        return None
    value = float(match.group(1).replace(",", "."))
    unit = units.find(match.group(2)) if match.group(2) else None
    return float(unit.ours(value)) if unit else value


def axis_of_headings(columns: dict[str, Any], table: Table) -> tuple[dict[str, Any], Any]:
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
    lists: Any = pa.ListArray.from_arrays(pa.array(offsets), pa.array(flat, mask=np.isnan(flat)))
    taken = {name for _, name in found}
    kept = {k: v for k, v in columns.items() if k not in taken}
    return {**kept, VALUES: lists}, np.array([f for f, _ in found])
