"""Chunks of one delimited table."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field

import numpy as np
import pyarrow as pa

from archive.formats.base import text as texts
from archive.formats.base.numbers import Change
from archive.formats.mapping.headings import BOUNDS, VALUES, axis_of_headings
from archive.formats.mapping.model import Mapping, SourceFile, SourceTable
from archive.formats.mapping.record_chunk import MOST_BYTES, RecordChunk
from archive.formats.mapping.record_rows import (
    ContiguityAssumed,
    RecordRows,
    key_columns,
    row_per_record,
    rows_of_records,
)
from archive.formats.mapping.row_frame import HOW_IT_IS_WRITTEN, UNREADABLE, Problem, RowFrame, part_of
from archive.formats.mapping.rows.head import TextHead, head_of
from archive.formats.mapping.rows.parse import AGAIN, BAD, LINE, ParsedRows, Parser
from archive.formats.mapping.rows.text_rows import Cell
from archive.parallel import prefetch
from archive.tables.arrow import one_chunk

_HEAD_LINES = 1 << 18


def table_chunks(
    blocks: Iterator[bytes], file: SourceFile, mapping: Mapping, where: str, assumed: ContiguityAssumed | None = None
) -> Iterator[RecordChunk]:
    """The records of a delimited file of one table. blocks: its text as UTF-8 bytes.

    Errors: Trouble; NotContiguous, as `assumed` says.
    """
    table = next(t for t in file.tables if t.rows != "labels")
    labels = next((t for t in file.tables if t.rows == "labels"), None)
    cut: Iterator[bytes] = prefetch(texts.line_blocks(blocks, file.quote.encode()))
    first = next(cut, b"")
    while len(first) < _HEAD_LINES:
        more = next(cut, None)
        if more is None:
            break
        first += more
    head = head_of(first[:_HEAD_LINES].decode("utf-8", "replace"), file, table, where)
    parser = Parser(file, table, head, mapping.decimal)
    count = _Count(head.ignored)
    body = (_with_keys(t, table) for t in count.tables(parser.tables(_chained(first[head.body_at :], cut))))
    groups = (
        row_per_record(body, MOST_BYTES) if table.rows == "links" else rows_of_records(body, table, MOST_BYTES, assumed)
    )
    for number, group in enumerate(groups):
        chunk = _chunk(group, table, file, mapping, head)
        if labels is not None or head.labels:
            chunk.frames = [*chunk.frames, above(head.labels, labels or _EMPTY, len(chunk.places), number == 0)]
        if count.loose:
            chunk.frames = [*chunk.frames, above(count.loose, _EMPTY, len(chunk.places), True)]
            count.loose = []
        chunk.ignored = count.taken()
        yield chunk


def _with_keys(rows: pa.Table, table: SourceTable) -> pa.Table:
    """Rows with a column for each key that is a part of a cell: by these they are put together into records."""
    keys = key_columns(table)
    for f in table.fields:
        if f.cell and f.source in keys and f.cell in rows.column_names:
            rows = rows.append_column(f.source, part_of(f, one_chunk(rows.column(f.cell))).dictionary_encode())
    return rows


@dataclass
class _Count:
    """Cells that are ignored by name, of the tables that were parsed so far and not told yet."""

    ignored: int
    loose: list[tuple[int, str, Cell]] = field(default_factory=list)
    """Cells of lines between the rows that are none of them."""

    def tables(self, parsed: Iterator[ParsedRows]) -> Iterator[pa.Table]:
        """The tables alone."""
        for one in parsed:
            self.ignored += one.ignored
            self.loose += one.loose
            if one.rows.num_rows:
                yield one.rows

    def taken(self) -> int:
        """The count, once."""
        ignored, self.ignored = self.ignored, 0
        return ignored


_EMPTY = SourceTable("above", "labels", ())


def _chained(first: bytes, rest: Iterator[bytes]) -> Iterator[bytes]:
    if first:
        yield first
    yield from rest


def _chunk(group: RecordRows, table: SourceTable, file: SourceFile, mapping: Mapping, head: TextHead) -> RecordChunk:
    rows = group.rows.combine_chunks()
    parts = {f.source for f in table.fields if f.cell}
    lines = rows.column(LINE).to_numpy()
    columns: dict[str, pa.Array] = {
        n: rows.column(n).chunk(0) if rows.column(n).num_chunks else pa.nulls(0, pa.string())
        for n in rows.column_names
        if n not in (LINE, BAD) and n not in parts
    }
    axis, bad, changes = None, {}, frozenset[Change]()
    if table.headings_are == "frequencies":
        gathered = axis_of_headings(columns, table, mapping)
        columns, axis, bad, changes = gathered.columns, gathered.axis, gathered.bad, gathered.changes
    frame = RowFrame(table, columns, group.record, lines, "line", axis, uncounted=frozenset({BOUNDS}))
    frame.note(VALUES, changes)
    starts = group.starts
    stops = np.append(starts[1:], len(lines))
    places = [
        f"line {lines[a]}" if b - a == 1 else f"lines {lines[a]}-{lines[b - 1]}"
        for a, b in zip(starts.tolist(), stops.tolist(), strict=True)
    ]
    chunk = RecordChunk(places, [frame], lambda i: _text(rows, head, file, int(starts[i]), int(stops[i])))
    for i, (name, cell) in bad.items():
        problem = Problem(f"line {lines[i]}, {name}", UNREADABLE, repr(cell)[:80], "a number", HOW_IT_IS_WRITTEN)
        chunk.problems.setdefault(int(group.record[i]), problem)
    if BAD in rows.column_names:
        for i, why in enumerate(rows.column(BAD).to_pylist()):
            if why:
                problem = Problem(f"line {lines[i]}", "a row that is cut short or torn", why, _cells(head), AGAIN)
                chunk.problems.setdefault(int(group.record[i]), problem)
    return chunk


def _cells(head: TextHead) -> str:
    return f"{len(head.names)} cells"


def _text(rows: pa.Table, head: TextHead, file: SourceFile, start: int, stop: int) -> str:
    """The headings and the rows of one record, as a small file of the same layout."""
    mark = file.delimiter if len(file.delimiter) == 1 else "  "
    part = rows.slice(start, stop - start).select([n for n in rows.column_names if n not in (LINE, BAD)])
    out = [mark.join(r) for r in head.headings]
    for row in zip(*(c.to_pylist() for c in part.columns), strict=True):
        out.append(mark.join("" if c is None else _quoted(c, mark, file.quote) for c in row))
    return "\n".join(out) + "\n"


def _quoted(cell: str | float, mark: str, quote: str) -> str:
    text = f"{cell:g}" if isinstance(cell, float) else str(cell)
    if quote and (mark in text or quote in text or "\n" in text):
        return quote + text.replace(quote, quote * 2) + quote
    return text


def above(labels: Sequence[tuple[int, str, Cell]], table: SourceTable, records: int, first: bool) -> RowFrame:
    """What stands above a table holds for each of its records; its cells are counted with the first chunk."""
    columns: dict[str, pa.Array] = {}
    for _, name, value in labels:
        key = name if name not in columns else f"{name} (2)"
        columns[key] = pa.repeat(pa.scalar(value), records)
    return RowFrame(table, columns, np.arange(records, dtype=np.int64), counts=first, shared=True)
