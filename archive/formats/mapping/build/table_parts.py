"""Rows of the tables on their way into a batch: columns, each row with its record."""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import lru_cache
from typing import Any

import numpy as np
import pyarrow as pa

from archive.tables import schema
from archive.tables.arrow import Bools, Ints, one_chunk

Part = tuple[Ints, dict[str, Any]]
"""Records of some rows, and their columns as TableParts.add takes them."""


@dataclass
class TableParts:
    """Rows of the tables of records, in parts of equal columns."""

    parts: dict[str, list[Part]] = field(default_factory=dict)

    def add(self, table: str, record: Ints, **columns: Any) -> None:
        """Rows of one table. record: int64 array; columns: Arrow arrays, NumPy arrays, or one value for all rows."""
        if len(record):
            self.parts.setdefault(table, []).append((record, columns))

    def tables(self, good: Bools, ids: pa.Array) -> dict[str, pa.Table]:
        """Arrow tables with the rows of the good records, in the order of the records.

        good: boolean array over the records; ids: Arrow text, their ids.
        """
        return {name: self._table(name, listed, good, ids) for name, listed in self.parts.items()}

    def _table(self, name: str, listed: list[Part], good: Bools, ids: pa.Array) -> pa.Table:
        want = schema(name)
        made = [pa.table(arrow_columns(want, len(r), c), schema=_unfinished(want)) for r, c in listed]
        record = np.concatenate([r for r, _ in listed])
        order = np.argsort(record, kind="stable")
        if not good.all():
            order = order[good[record[order]]]
        table = pa.concat_tables(made)
        if len(order) != len(record) or (order[1:] < order[:-1]).any():
            table = _taken(table, order)
        at = want.get_field_index("record_id")
        return table.set_column(at, want.field("record_id"), ids.take(pa.array(record[order])))


def _taken(table: pa.Table, order: Ints) -> pa.Table:
    """Rows of a table by their numbers (int64). Curves of equal length are moved as the rows of a matrix, which is
    several times as fast as Arrow's own way."""
    curves = _moved(table.column("values"), order) if "values" in table.column_names else None
    if curves is None:
        return table.take(pa.array(order))
    at = table.schema.get_field_index("values")
    rest = table.remove_column(at).take(pa.array(order))
    return rest.add_column(at, table.schema.field(at), curves)


def _moved(column: pa.ChunkedArray, order: Ints) -> pa.ListArray | None:
    """Lists of numbers by the numbers of their rows; None where they differ in length, or where points are missing."""
    if not pa.types.is_list(column.type) or not pa.types.is_float64(column.type.value_type) or column.null_count:
        return None
    parts = [c for c in column.chunks if len(c)]
    flat = [c.flatten() for c in parts]
    points = len(flat[0]) // len(parts[0]) if parts else 0
    if not points or len(order) * points >= 1 << 31 or any(f.null_count for f in flat):
        return None
    if any((np.diff(c.offsets.to_numpy()) != points).any() for c in parts):
        return None
    place = np.full(len(column), -1, dtype=np.int64)
    place[order] = np.arange(len(order))
    out = np.empty((len(order), points))
    start = 0
    for values in flat:
        rows = values.to_numpy().reshape(-1, points)
        to = place[start : start + len(rows)]
        kept = to >= 0
        if kept.all():
            out[to] = rows
        else:
            out[to[kept]] = rows[kept]
        start += len(rows)
    offsets = np.arange(len(order) + 1, dtype=np.int32) * np.int32(points)
    return pa.ListArray.from_arrays(pa.array(offsets), pa.array(out.reshape(-1)))


def arrow_columns(want: pa.Schema, n: int, columns: dict[str, Any]) -> list[pa.Array]:
    """Columns of n rows, as a schema wants them: from Arrow arrays, NumPy arrays or one value for all rows; nulls where
    none is given."""
    made = []
    for f in want:
        given = columns.get(f.name)
        if given is None:
            made.append(pa.nulls(n, f.type))
        elif isinstance(given, pa.Array | pa.ChunkedArray):
            made.append(one_chunk(given).cast(f.type))
        elif isinstance(given, np.ndarray):
            made.append(pa.array(given, type=f.type, from_pandas=True))
        else:
            made.append(pa.repeat(pa.scalar(given, type=f.type), n))
    return made


@lru_cache(maxsize=64)
def _unfinished(want: pa.Schema) -> pa.Schema:
    """A schema of rows that may still lack what must be set: the id of their record."""
    return pa.schema([pa.field(f.name, f.type) for f in want])
