"""Rows of a table put together into records, while they stream past."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from archive.formats.mapping.frame import codes
from archive.formats.mapping.model import Table
from archive.tables import MOST_RECORDS

KEYS = ("link_label", "tested_found", "sequence", "limit_found", "configuration")
"""Columns of records that tell one record from the next."""

MOST_HELD = 1 << 28
"""Bytes of rows that are held to put together what stands apart; beyond that rows of a record must stand together."""


@dataclass
class Group:
    """Whole records: their rows, and the record of each row (int64 from 0, not falling)."""

    rows: Any
    record: Any

    @property
    def starts(self) -> Any:
        """First row of each record."""
        return np.flatnonzero(np.concatenate([[True], self.record[1:] != self.record[:-1]]))


def key_columns(table: Table) -> list[str]:
    """Sources of the columns that tell records apart."""
    mine = [f for f in table.fields if f.to.table == "records" and f.to.name in KEYS and not f.source.startswith("@")]
    whole, parts = [f for f in mine if not f.to.part], [f for f in mine if f.to.name == "tested_found" and f.to.part]
    return [f.source for f in (*whole, *parts)]


def row_per_record(tables: Iterator[Any]) -> Iterator[Group]:
    """Every row is a record."""
    for table in tables:
        for at in range(0, table.num_rows, MOST_RECORDS):
            part = table.slice(at, MOST_RECORDS)
            yield Group(part, np.arange(part.num_rows, dtype=np.int64))


def rows_of_records(tables: Iterator[Any], table: Table, most_rows: int) -> Iterator[Group]:
    """Records are runs of rows with equal keys; rows that stand apart are put together as far as memory allows.

    A key that is left blank repeats the one above. Without key columns all rows are one record.
    """
    keys = key_columns(table)
    first: list[Any] = []
    held = 0
    for part in tables:
        first.append(part)
        held += _size(part)
        if held > MOST_HELD:
            break
    else:
        if first:
            yield from _all(joined_tables(first), keys, most_rows)
        return
    yield from _streamed(_chain(first, tables), keys, most_rows)


def _size(part: Any) -> int:
    """Bytes of some rows, about; of numbers and of words that repeat this is quicker than Arrow's own count."""
    fixed = [pa.types.is_primitive(kind) or pa.types.is_dictionary(kind) for kind in part.schema.types]
    return int(
        8 * sum(fixed) * part.num_rows + sum(c.nbytes for c, f in zip(part.columns, fixed, strict=True) if not f)
    )


def _chain(first: list[Any], rest: Iterator[Any]) -> Iterator[Any]:
    while first:
        # What was held is let go as it is handed on.
        yield first.pop(0)
    yield from rest


def _all(rows: Any, keys: list[str], most_rows: int) -> Iterator[Group]:
    code = _codes(rows, keys)
    starts = np.concatenate([[0], np.flatnonzero(code[1:] != code[:-1]) + 1])
    _, seen = np.unique(code[starts], return_index=True)
    if len(seen) != len(starts):
        rank = {int(code[starts[i]]): n for n, i in enumerate(np.sort(seen))}
        place = np.array([rank[int(c)] for c in code[starts]])
        order = np.argsort(np.repeat(place, np.diff(np.append(starts, len(code)))), kind="stable")
        rows, code = rows.take(pa.array(order)), code[order]
        starts = np.concatenate([[0], np.flatnonzero(code[1:] != code[:-1]) + 1])
    yield from _cut(rows, starts, most_rows)


def _cut(rows: Any, starts: Any, most_rows: int) -> Iterator[Group]:
    """Records cut into groups of at most MOST_RECORDS records and about most_rows rows."""
    stops = np.append(starts[1:], rows.num_rows)
    at = 0
    while at < len(starts):
        end = at + 1
        while end < len(starts) and end - at < MOST_RECORDS and stops[end] - starts[at] <= most_rows:
            end += 1
        low, high = int(starts[at]), int(stops[end - 1])
        record = np.repeat(np.arange(end - at, dtype=np.int64), stops[at:end] - starts[at:end])
        yield Group(rows.slice(low, high - low), record)
        at = end


def _streamed(tables: Iterator[Any], keys: list[str], most_rows: int) -> Iterator[Group]:
    """Like _all, but the rows of a record must stand together."""
    held: Any = None
    for part in tables:
        rows = part if held is None else joined_tables([held, part])
        code = _codes(rows, keys)
        starts = np.concatenate([[0], np.flatnonzero(code[1:] != code[:-1]) + 1])
        last = int(starts[-1])
        if last:
            yield from _cut(rows.slice(0, last), starts[:-1], most_rows)
        held = rows.slice(last)
    if held is not None and held.num_rows:
        yield Group(held, np.zeros(held.num_rows, dtype=np.int64))


def _codes(rows: Any, keys: list[str]) -> Any:
    """One code per row: equal for equal keys; a blank key repeats the one above."""
    code = np.zeros(rows.num_rows, dtype=np.int64)
    for name in keys:
        column = rows.column(name)
        more = codes(column.combine_chunks() if column.num_chunks != 1 else column.chunk(0))
        if (more < 0).any():
            at = np.where(more >= 0, np.arange(len(more)), 0)
            more = more[np.maximum.accumulate(at)]
        code = code * (int(more.max(initial=0)) + 2) + more + 1
    return code


def joined_tables(parts: list[Any]) -> Any:
    """Tables of one file under each other; a column that is text in one of them is text in all."""
    if len(parts) == 1:
        return parts[0]
    if all(p.schema.equals(parts[0].schema) for p in parts[1:]):
        return pa.concat_tables(parts).unify_dictionaries()
    of = [dict(zip(p.column_names, p.columns, strict=True)) for p in parts]
    names = list(dict.fromkeys(n for columns in of for n in columns))
    columns = []
    for name in names:
        listed = [
            c[name] if name in c else pa.chunked_array([pa.nulls(p.num_rows)]) for c, p in zip(of, parts, strict=True)
        ]
        kinds = {c.type for c in listed if not pa.types.is_null(c.type)}
        kind = kinds.pop() if len(kinds) == 1 else pa.string()
        columns.append(pa.chunked_array([k for c in listed for k in _cast(c, kind).chunks], type=kind))
    out = pa.table(columns, names=names)
    return out.unify_dictionaries()


def _cast(column: Any, kind: Any) -> Any:
    if column.type == kind:
        return column
    if pa.types.is_floating(column.type) and kind == pa.string():
        return pc.cast(column, pa.string())
    return column.cast(kind)
