"""Sections of blocks become frames."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from itertools import zip_longest
from typing import Any

import numpy as np
import pyarrow as pa

from archive.formats.mapping.delimited.head import TextHead
from archive.formats.mapping.delimited.parse import BAD, LINE, Parser, TextBlock
from archive.formats.mapping.grid.columns import column
from archive.formats.mapping.grid.section import ParsedBlock, TableSection, fixed
from archive.formats.mapping.headings import axis_of_headings, links_of_headings
from archive.formats.mapping.model import Mapping, SourceFile, SourceTable
from archive.formats.mapping.record_rows import joined_tables
from archive.formats.mapping.row_frame import Problem, RowFrame

EMPTY = SourceTable("labels", "labels", ())
Split = Callable[[Any], Sequence[Any]]


def label_table(file: SourceFile) -> SourceTable:
    """The table of the labels of a file: the mapping's, or one without fields."""
    named = next((t for t in file.tables if t.rows == "labels"), EMPTY)
    if file.ignore and set(file.ignore) - set(named.ignore):
        return SourceTable(named.name, "labels", named.fields, ignore=(*named.ignore, *file.ignore))
    return named


def label_frame(listed: Sequence[ParsedBlock], table: SourceTable, noun: str) -> RowFrame:
    """The labels of blocks, one row per block: each label is a column."""
    columns: dict[str, list[Any]] = {}
    n = len(listed)
    for i, parsed in enumerate(listed):
        for _, name, value in parsed.labels:
            cells = columns.setdefault(name, [None] * n)
            number = 2
            while cells[i] is not None:
                cells = columns.setdefault(f"{name} ({number})", [None] * n)
                number += 1
            cells[i] = value
    places = np.array([p.labels[0][0] if p.labels else 0 for p in listed], dtype=np.int64)
    made = {name: column(cells) for name, cells in columns.items()}
    return RowFrame(table, made, np.arange(n, dtype=np.int64), places if noun else None, noun)


def section_frames(
    listed: Sequence[ParsedBlock], file: SourceFile, mapping: Mapping, split: Split, noun: str
) -> tuple[list[RowFrame], dict[int, Problem]]:
    """The tables of blocks, one frame per table; problems by record."""
    by: dict[str, list[tuple[int, TableSection]]] = {}
    for i, parsed in enumerate(listed):
        for section in parsed.sections:
            if section.rows:
                by.setdefault(section.table.name, []).append((i, section))
    frames: list[RowFrame] = []
    problems: dict[int, Problem] = {}
    for sections in by.values():
        rows = _rows(sections, file, mapping, split, noun, problems)
        if rows is not None:
            frames.append(rows)
    return frames, problems


def _rows(
    sections: list[tuple[int, TableSection]],
    file: SourceFile,
    mapping: Mapping,
    split: Split,
    noun: str,
    problems: dict[int, Problem],
) -> RowFrame | None:
    table = sections[0][1].table
    parts: list[Any] = []
    records: list[Any] = []
    places: list[Any] = []
    by_names: dict[tuple[str, ...], list[tuple[int, TableSection]]] = {}
    for number, section in sections:
        by_names.setdefault(tuple(section.names), []).append((number, section))
    for heads, listed in by_names.items():
        lines = [r for _, s in listed for r in s.rows]
        record = np.repeat(np.array([r for r, _ in listed]), [len(s.rows) for _, s in listed])
        place = np.array([p for _, s in listed for p in s.at], dtype=np.int64)
        if file.kind == "delimited" and not table.widths and isinstance(lines[0], str):
            made, at, bad = _delimited(lines, list(heads), table, file, mapping)
        else:
            made, at, bad = _plain(lines, list(heads), table, split)
        for i, why in bad.items():
            where = f"{noun} {place[at[i]]}"
            problem = Problem(where, "a row that is cut short or torn", why, f"{len(heads)} cells", _AGAIN)
            problems.setdefault(int(record[at[i]]), problem)
        parts.append(made)
        records.append(record[at])
        places.append(place[at])
    return _framed(table, parts, np.concatenate(records), np.concatenate(places), noun)


_AGAIN = "export the link again"


def _framed(table: SourceTable, parts: list[Any], record: Any, place: Any, noun: str) -> RowFrame:
    """Rows of blocks with different headings under each other, in the order of the records."""
    order = np.argsort(record, kind="stable")
    rows = joined_tables(parts)
    if (order[1:] < order[:-1]).any():
        rows = rows.take(pa.array(order))
    rows = rows.combine_chunks()
    columns = {n: rows.column(n).chunk(0) if rows.column(n).num_chunks else pa.nulls(0) for n in rows.column_names}
    axis = None
    if table.headings_are == "frequencies":
        columns, axis = axis_of_headings(columns, table)
    frame = RowFrame(table, columns, record[order], place[order], noun, axis)
    return links_of_headings(frame) if table.headings_are == "links" else frame


def _delimited(
    lines: list[str], heads: list[str], table: SourceTable, file: SourceFile, mapping: Mapping
) -> tuple[Any, Any, dict[int, str]]:
    """Rows of text by pyarrow.csv; positions of the rows among the lines; bad rows."""
    width = lines[0].count(file.delimiter) + 1
    if width > len(heads):
        heads = [*heads, *(f"column {i}" for i in range(len(heads) + 1, width + 1))]
    parser = Parser(file, table, TextHead(heads, 0, 0, []), mapping.decimal)
    text = ("\n".join(lines) + "\n").encode("utf-8", "surrogatepass")
    made = parser.parse(TextBlock(text, 0, text.count(b"\n"))).rows
    at = made.column(LINE).to_numpy()
    bad = {}
    if BAD in made.column_names:
        bad = {i: w for i, w in enumerate(made.column(BAD).to_pylist()) if w}
    return made.select([n for n in made.column_names if n not in (LINE, BAD)]), at, bad


def _plain(lines: list[Any], heads: list[str], table: SourceTable, split: Split) -> tuple[Any, Any, dict[int, str]]:
    if not table.widths and set(map(type, lines)) == {list}:
        rows = lines
    else:
        rows = [fixed(r, table.widths) if table.widths else split(r) for r in lines]
    bad: dict[int, str] = {}
    width = len(heads)
    if set(map(len, rows)) == {width}:
        made = pa.table([column(c) for c in zip(*rows, strict=True)], names=heads)
        return made, np.arange(len(rows)), bad
    cells = []
    for i, row in enumerate(rows):
        if len(row) > width and any(c is not None and str(c).strip() for c in row[width:]):
            bad[i] = f"{len(row)} cells"
        cells.append(row[:width])
    columns = list(zip_longest(*cells)) if cells else []
    columns += [()] * (width - len(columns))
    n = len(rows)
    made = pa.table([column(c or [None] * n) for c in columns], names=heads)
    return made, np.arange(n), bad
