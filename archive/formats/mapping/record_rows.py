"""Rows of a table put together into records, while they stream past."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from archive.formats.base import words
from archive.formats.mapping.model import SourceTable
from archive.formats.mapping.row_frame import codes, encoded, one_code, run_starts
from archive.tables import MOST_RECORDS
from archive.tables.arrow import Ints, one_chunk

KEYS = ("link_label", "tested_found", "sequence", "limit_found", "configuration")
"""Columns of records that tell one record from the next."""

MOST_HELD = 1 << 28
"""Bytes of rows that are held to put together what stands apart; beyond that rows of a record must stand together."""


class NotContiguous(Exception):
    """Rows of one record were assumed to follow each other, and do not."""


@dataclass
class ContiguityAssumed:
    """The rows of a record are assumed to follow each other, as they almost always do: records are then handed on while
    the rest of the file is read. open: NotContiguous may still be raised; until then, what was made is not used."""

    open: bool = False


@dataclass
class RecordRows:
    """Whole records: their rows, and the record of each row (int64 from 0, not falling)."""

    rows: pa.Table
    record: Ints

    @property
    def starts(self) -> Ints:
        """First row of each record."""
        return run_starts(self.record)


def key_columns(table: SourceTable) -> list[str]:
    """Sources of the columns that tell records apart."""
    mine = [f for f in table.fields if f.to.table == "records" and f.to.name in KEYS and not f.source.startswith("@")]
    whole, parts = [f for f in mine if not f.to.part], [f for f in mine if f.to.name == "tested_found" and f.to.part]
    return [f.source for f in (*whole, *parts)]


def row_per_record(tables: Iterator[pa.Table], most_bytes: int) -> Iterator[RecordRows]:
    """Every row is a record. most_bytes: bytes of rows in one group, about."""
    held: list[pa.Table] = []
    rows = size = 0
    for part in tables:
        more = _size(part)
        if held and (rows + part.num_rows > MOST_RECORDS or size + more > most_bytes):
            yield from _single(joined_tables(held))
            held, rows, size = [], 0, 0
        held.append(part)
        rows, size = rows + part.num_rows, size + more
    if held:
        yield from _single(joined_tables(held))


def _single(rows: pa.Table) -> Iterator[RecordRows]:
    for at in range(0, rows.num_rows, MOST_RECORDS):
        part = rows.slice(at, MOST_RECORDS)
        yield RecordRows(part, np.arange(part.num_rows, dtype=np.int64))


def rows_of_records(
    tables: Iterator[pa.Table], table: SourceTable, most_bytes: int, assumed: ContiguityAssumed | None = None
) -> Iterator[RecordRows]:
    """Records are runs of rows with equal keys; rows that stand apart are put together as far as memory allows.

    A key that is left blank repeats the one above. Without key columns all rows are one record. most_bytes: of the rows
    of a group, about. assumed: NotContiguous is raised where rows stand apart, as long as they could be put together.
    """
    keys = key_columns(table)
    if assumed is not None:
        assumed.open = True
        yield from _streamed(tables, keys, most_bytes, assumed)
        return
    first: list[pa.Table] = []
    held = 0
    for part in tables:
        first.append(part)
        held += _size(part)
        if held > MOST_HELD:
            break
    else:
        if first:
            yield from _all(joined_tables(first), keys, held, most_bytes)
        return
    yield from _streamed(_chain(first, tables), keys, most_bytes, ContiguityAssumed())


def _size(part: pa.Table) -> int:
    """Bytes of some rows, about; of numbers and of words that repeat this is quicker than Arrow's own count."""
    fixed = [pa.types.is_primitive(kind) or pa.types.is_dictionary(kind) for kind in part.schema.types]
    return int(
        8 * sum(fixed) * part.num_rows + sum(c.nbytes for c, f in zip(part.columns, fixed, strict=True) if not f)
    )


def _chain(first: list[pa.Table], rest: Iterator[pa.Table]) -> Iterator[pa.Table]:
    while first:
        # What was held is freed as it is handed on.
        yield first.pop(0)
    yield from rest


def _all(rows: pa.Table, keys: list[str], size: int, most_bytes: int) -> Iterator[RecordRows]:
    code = _codes(rows, keys)
    starts = run_starts(code)
    _, seen = np.unique(code[starts], return_index=True)
    if len(seen) != len(starts):
        rank = {int(code[starts[i]]): n for n, i in enumerate(np.sort(seen))}
        place = np.array([rank[int(c)] for c in code[starts]])
        order = np.argsort(np.repeat(place, np.diff(np.append(starts, len(code)))), kind="stable")
        rows, code = rows.take(pa.array(order)), code[order]
        starts = run_starts(code)
    yield from _cut(rows, starts, rows.num_rows * most_bytes // max(1, size))


def _cut(rows: pa.Table, starts: Ints, most_rows: int) -> Iterator[RecordRows]:
    """Records cut into groups of at most MOST_RECORDS records and about most_rows rows."""
    stops = np.append(starts[1:], rows.num_rows)
    at = 0
    while at < len(starts):
        end = at + 1
        while end < len(starts) and end - at < MOST_RECORDS and stops[end] - starts[at] <= most_rows:
            end += 1
        low, high = int(starts[at]), int(stops[end - 1])
        record = np.repeat(np.arange(end - at, dtype=np.int64), stops[at:end] - starts[at:end])
        yield RecordRows(rows.slice(low, high - low), record)
        at = end


def _streamed(
    tables: Iterator[pa.Table], keys: list[str], most_bytes: int, assumed: ContiguityAssumed
) -> Iterator[RecordRows]:
    """Like _all, but the rows of a record must follow each other; while `assumed` is open, NotContiguous is raised
    where they do not."""
    held: list[pa.Table] = []
    size = kept = passed = 0
    seen = _Seen(keys)
    for part in tables:
        more = _size(part)
        # A record of its own size is not looked through again for each part that comes.
        if held and size + more > max(most_bytes, 2 * kept):
            whole = joined_tables(held)
            starts = run_starts(_codes(whole, keys))
            last = int(starts[-1])
            if assumed.open:
                if seen.again(whole, starts[:-1]):
                    raise NotContiguous
                passed += size
                assumed.open = passed <= MOST_HELD
            if last:
                yield from _cut(whole.slice(0, last), starts[:-1], last)
            held = [whole.slice(last)]
            size = kept = size * (whole.num_rows - last) // whole.num_rows
        held.append(part)
        size += more
    if held:
        whole = joined_tables(held)
        starts = run_starts(_codes(whole, keys))
        if assumed.open and seen.again(whole, starts):
            raise NotContiguous
        assumed.open = False
        yield from _cut(whole, starts, whole.num_rows)


class _Seen:
    """Keys of the records that have come."""

    def __init__(self, keys: list[str]) -> None:
        self._keys = keys
        self._seen: set[tuple[str | None, ...]] = set()
        self._above: list[str | None] = [None] * len(keys)

    def again(self, rows: pa.Table, starts: Ints) -> bool:
        """Whether a record has come before. rows, starts: of whole records, which count as come from now on."""
        columns = []
        for i, name in enumerate(self._keys):
            cells = encoded(one_chunk(rows.column(name)))
            code = _filled(key_codes(cells))[starts]
            named = cells.dictionary.take(pa.array(code, mask=code < 0)).to_pylist()
            columns.append([self._above[i] if w is None else w for w in named])
            if named:
                self._above[i] = columns[-1][-1]
        fresh = list(zip(*columns, strict=True)) if columns else [()] * len(starts)
        before = len(self._seen)
        self._seen.update(fresh)
        return len(self._seen) < before + len(fresh)


def _codes(rows: pa.Table, keys: list[str]) -> Ints:
    """One code per row: equal for equal keys; a blank key repeats the one above."""
    blank = np.zeros(rows.num_rows, dtype=np.int64)
    return one_code(blank, *(_filled(key_codes(one_chunk(rows.column(name)))) for name in keys))


def key_codes(cells: pa.Array) -> Ints:
    """Codes of a column of keys, as row_frame.codes has them; a word for no value, such as n/a, is no key."""
    coded = encoded(cells)
    none = [i for i, w in enumerate(coded.dictionary.to_pylist()) if says_nothing(w)]
    code = codes(coded)
    return np.where(np.isin(code, none), -1, code) if none else code


def says_nothing(word: str | None) -> bool:
    """Whether a cell of a key is blank, or a word for no value."""
    return word is None or not word.strip() or word.strip().casefold() in words.empties()


def _filled(code: Ints) -> Ints:
    """Codes with those of blank cells (-1) from above; -1 where nothing stands above."""
    if not (code < 0).any():
        return code
    at = np.where(code >= 0, np.arange(len(code)), 0)
    return code[np.maximum.accumulate(at)]


def joined_tables(parts: list[pa.Table]) -> pa.Table:
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


def _cast(column: pa.ChunkedArray, kind: pa.DataType) -> pa.ChunkedArray:
    if column.type == kind:
        return column
    if pa.types.is_floating(column.type) and kind == pa.string():
        return pc.cast(column, pa.string())
    return column.cast(kind)
