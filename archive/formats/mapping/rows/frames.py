"""Sections of blocks become frames."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import zip_longest
from typing import NamedTuple

import numpy as np
import pyarrow as pa

from archive.formats.base.numbers import Change
from archive.formats.mapping.headings import BOUNDS, VALUES, axis_of_headings, links_of_headings
from archive.formats.mapping.model import Mapping, SourceFile, SourceTable
from archive.formats.mapping.record_rows import joined_tables
from archive.formats.mapping.row_frame import HOW_IT_IS_WRITTEN, UNREADABLE, Problem, RowFrame
from archive.formats.mapping.rows.columns import column
from archive.formats.mapping.rows.cutter import ParsedBlock, TableSection
from archive.formats.mapping.rows.head import TextHead
from archive.formats.mapping.rows.parse import AGAIN, BAD, LINE, Parser, TextBlock
from archive.formats.mapping.rows.text_rows import Cell, Row, Splitter, filled
from archive.tables.arrow import Ints, one_chunk

EMPTY = SourceTable("labels", "labels", ())


def label_table(file: SourceFile) -> SourceTable:
    """The table of the labels of a file: the mapping's, or one without fields."""
    named = next((t for t in file.tables if t.rows == "labels"), EMPTY)
    if file.ignore and set(file.ignore) - set(named.ignore):
        return SourceTable(named.name, "labels", named.fields, ignore=(*named.ignore, *file.ignore))
    return named


def label_frame(listed: Sequence[ParsedBlock], table: SourceTable, noun: str) -> RowFrame:
    """The labels of blocks, one row per block: each label is a column."""
    columns: dict[str, list[Cell]] = {}
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
    listed: Sequence[ParsedBlock], file: SourceFile, mapping: Mapping, split: Splitter, noun: str
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
        frames.append(_rows(sections, file, mapping, split, noun, problems))
    return frames, problems


class _Made(NamedTuple):
    """Rows as a table; which of the lines each is (int64); of rows that cannot be read, by their number, why."""

    rows: pa.Table
    at: Ints
    bad: dict[int, str]


def _rows(
    sections: list[tuple[int, TableSection]],
    file: SourceFile,
    mapping: Mapping,
    split: Splitter,
    noun: str,
    problems: dict[int, Problem],
) -> RowFrame:
    """The rows of one table. sections: with the numbers of their blocks. problems: takes what cannot be read."""
    table = sections[0][1].table
    parts: list[pa.Table] = []
    records: list[Ints] = []
    places: list[Ints] = []
    by_names: dict[tuple[str, ...], list[tuple[int, TableSection]]] = {}
    for number, section in sections:
        by_names.setdefault(tuple(section.names), []).append((number, section))
    for heads, listed in by_names.items():
        lines = [r for _, s in listed for r in s.rows]
        record = np.repeat(np.array([r for r, _ in listed]), [len(s.rows) for _, s in listed])
        place = np.array([p for _, s in listed for p in s.at], dtype=np.int64)
        if file.kind == "delimited" and not table.widths and isinstance(lines[0], str):
            made = _parsed([str(line) for line in lines], list(heads), table, file, mapping)
        elif not table.widths and set(map(type, lines)) == {list}:
            made = _columns(lines, list(heads))
        else:
            made = _columns([s.cells(row, split) for _, s in listed for row in s.rows], list(heads))
        for i, why in made.bad.items():
            at = made.at[i]
            problem = Problem(
                f"{noun} {place[at]}", "a row that is cut short or torn", why, f"{len(heads)} cells", AGAIN
            )
            problems.setdefault(int(record[at]), problem)
        parts.append(made.rows)
        records.append(record[made.at])
        places.append(place[made.at])
    frame, bad = _framed(table, parts, (np.concatenate(records), np.concatenate(places)), noun, mapping)
    problems |= {i: p for i, p in bad.items() if i not in problems}
    return frame


def _framed(
    table: SourceTable, parts: list[pa.Table], at: tuple[Ints, Ints], noun: str, mapping: Mapping
) -> tuple[RowFrame, dict[int, Problem]]:
    """Rows of blocks with different headings under each other, in the order of the records; problems by record.

    at: record and place of each row.
    """
    record, place = at
    order = np.argsort(record, kind="stable")
    rows = joined_tables(parts)
    if (order[1:] < order[:-1]).any():
        rows = rows.take(pa.array(order))
    columns = {n: one_chunk(rows.column(n)) for n in rows.column_names}
    record, place, axis, changes = record[order], place[order], None, frozenset[Change]()
    problems: dict[int, Problem] = {}
    if table.headings_are == "frequencies":
        gathered = axis_of_headings(columns, table, mapping)
        columns, axis, changes = gathered.columns, gathered.axis, gathered.changes
        for i, (name, cell) in gathered.bad.items():
            where = f"{noun} {place[i]}, {name}"
            problem = Problem(where, UNREADABLE, repr(cell)[:80], "a number", HOW_IT_IS_WRITTEN)
            problems.setdefault(int(record[i]), problem)
    frame = RowFrame(table, columns, record, place, noun, axis, uncounted=frozenset({BOUNDS}))
    frame.note(VALUES, changes)
    return (links_of_headings(frame) if table.headings_are == "links" else frame), problems


def _parsed(lines: list[str], heads: list[str], table: SourceTable, file: SourceFile, mapping: Mapping) -> _Made:
    """Rows of delimited text, by the way of whole files."""
    width = lines[0].count(file.delimiter) + 1
    if width > len(heads):
        heads = [*heads, *(f"column {i}" for i in range(len(heads) + 1, width + 1))]
    parser = Parser(file, table, TextHead(heads, 0, 0, []), mapping.decimal)
    text = ("\n".join(lines) + "\n").encode("utf-8", "surrogatepass")
    made = parser.parse(TextBlock(text, 0, text.count(b"\n"))).rows
    # A row with a line break in a cell is one of several lines of the text.
    begins = np.cumsum([0, *(line.count("\n") + 1 for line in lines)])
    at = np.searchsorted(begins, made.column(LINE).to_numpy(), side="right") - 1
    why = made.column(BAD).to_pylist() if BAD in made.column_names else []
    kept = made.select([n for n in made.column_names if n not in (LINE, BAD)])
    return _Made(kept, at, {i: w for i, w in enumerate(why) if w})


def _columns(rows: Sequence[Row], heads: list[str]) -> _Made:
    """Rows of cells; those that have more than there are headings are bad."""
    width, n = len(heads), len(rows)
    bad: dict[int, str] = {}
    if set(map(len, rows)) == {width}:
        return _Made(pa.table([column(c) for c in zip(*rows, strict=True)], names=heads), np.arange(n), bad)
    for i, row in enumerate(rows):
        if filled(row[width:]):
            bad[i] = f"{len(row)} cells"
    columns: list[Row] = list(zip_longest(*(row[:width] for row in rows)))
    columns += [()] * (width - len(columns))
    return _Made(pa.table([column(c or [None] * n) for c in columns], names=heads), np.arange(n), bad)
