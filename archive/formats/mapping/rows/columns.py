"""Cells of Python as Arrow columns."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, datetime, time, timedelta
from typing import Any

import pyarrow as pa

from archive.formats.mapping.rows.text_rows import Cell


def column(cells: Sequence[Any]) -> pa.Array:
    """Cells as an Arrow array: float64 where all are numbers, else text; blank text is no cell."""
    kinds = set(map(type, cells)) - {type(None)}
    if kinds == {float}:
        return pa.array(cells, type=pa.float64())
    if kinds <= {float, int} and kinds:
        return pa.array([float(c) if c is not None else None for c in cells], type=pa.float64())
    if kinds <= {list} and kinds and all(isinstance(x, int | float | None) for c in cells if c is not None for x in c):
        return pa.array(cells, type=pa.list_(pa.float64()))
    if kinds <= {str}:
        blank = any(c is not None and not c.strip() for c in set(cells))
        return pa.array([c if c and c.strip() else None for c in cells] if blank else cells, type=pa.string())
    texts = [cell_text(c) for c in cells]
    return pa.array([t if t is not None and t.strip() else None for t in texts], type=pa.string())


def cell_text(cell: Cell | list[Any]) -> str | None:
    """One cell as text: whole numbers without a fraction, times as ISO 8601, truth as true and false."""
    if cell is None or isinstance(cell, str):
        return cell
    if isinstance(cell, bool):
        return "true" if cell else "false"
    if isinstance(cell, float):
        return str(int(cell)) if cell.is_integer() and abs(cell) < 1e15 else repr(cell)
    if isinstance(cell, datetime):
        text = cell.isoformat(timespec="auto")
        return text.removesuffix(":00") if text.count(":") == 2 and "." not in text else text
    if isinstance(cell, date | time):
        return cell.isoformat()
    if isinstance(cell, timedelta):
        return str(cell)
    if isinstance(cell, list):
        return " ".join(t for c in cell if (t := cell_text(c)) is not None)
    return str(cell)
