"""Columns of text, in the lexical forms of the open forms, turned into the columns of the tables."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import pyarrow as pa
import pyarrow.compute as pc

from archive.formats.points import of_column
from archive.tables import Column
from archive.tables.tokens import uncell

EXPECTED = {
    "real": "a finite number, such as 35.4 or -2.5e-7",
    "int": "a whole number",
    "bool": "true or false",
    "instant": "an instant such as 2019-03-04T10:15:00.000Z",
    "reals": "finite numbers with a blank between, - for a missing one",
    "ints": "whole numbers with a blank between",
    "texts": "texts with a blank between, in their escapes",
}


@dataclass(frozen=True)
class BadCell:
    """A cell that its column cannot take: row (from 0), what stands there, what was expected."""

    row: int
    found: str
    expected: str


def typed(column: Column, text: Any) -> tuple[Any, list[BadCell]]:
    """An Arrow string array as an array of the column's type. A cell that does not fit becomes null and is
    returned as a BadCell.

    A cell of kind text, key or word stays as it is.
    """
    if column.kind in ("text", "key", "word"):
        return text, []
    if text.null_count == len(text):
        return pa.nulls(len(text), column.arrow), []
    try:
        cells = _quick(column, text)
    except (pa.ArrowInvalid, ValueError):
        return _slow(column, text)
    if column.kind in ("real", "reals") and not _finite(cells):
        return _slow(column, text)
    return cells, []


def _quick(column: Column, text: Any) -> Any:
    if column.kind == "reals":
        return of_column(text)
    if column.kind in ("ints", "texts"):
        return pa.array([None if t is None else _one(column.kind, t) for t in text.to_pylist()], type=column.arrow)
    return pc.cast(text, column.arrow)


def _finite(cells: Any) -> bool:
    numbers = cells.flatten() if pa.types.is_list(cells.type) else cells
    return pc.all(pc.is_finite(numbers)).as_py() in (True, None)


def _slow(column: Column, text: Any) -> tuple[Any, list[BadCell]]:
    """Cell by cell: forms that Arrow does not take (blanks around, +5), and the faults."""
    values: list[Any] = []
    bad: list[BadCell] = []
    for i, cell in enumerate(text.to_pylist()):
        value = None
        if cell is not None:
            try:
                value = _one(column.kind, cell)
            except (ValueError, OverflowError, pa.ArrowInvalid):
                bad.append(BadCell(i, cell[:80], EXPECTED[column.kind]))
        values.append(value)
    return pa.array(values, type=column.arrow), bad


def _one(kind: str, text: str) -> Any:
    text = text.strip()
    if kind == "real":
        return _number(text)
    if kind == "int":
        return _whole(text)
    if kind == "bool":
        if text.lower() not in ("true", "false", "1", "0"):
            raise ValueError(text)
        return text.lower() in ("true", "1")
    if kind == "instant":
        return pc.cast(pa.scalar(text), pa.timestamp("ms", tz="UTC")).as_py()
    if kind == "reals":
        return [None if t == "-" else _number(t) for t in text.split()]
    if kind == "ints":
        return [_whole(t) for t in text.split()]
    return [uncell(t) for t in text.split()]


def _number(text: str) -> float:
    value = float(text)
    if "_" in text or value - value != 0.0:
        raise ValueError(text)
    return value


def _whole(text: str) -> int:
    value = int(text)
    if "_" in text or not -(2**63) <= value < 2**63:
        raise ValueError(text)
    return value
