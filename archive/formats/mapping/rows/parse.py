"""Blocks of delimited text as Arrow tables: pyarrow.csv where a block is regular, row by row where it is not."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass, field

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
import pyarrow.csv as pc_csv

from archive.formats.base.patterns import BoundedPattern
from archive.formats.base.text import count
from archive.formats.mapping import names
from archive.formats.mapping.model import SourceFile, SourceTable
from archive.formats.mapping.rows.head import TextHead
from archive.formats.mapping.rows.labels import labels_of
from archive.formats.mapping.rows.shape import lone
from archive.formats.mapping.rows.text_rows import DRAWN, Cell, blank, filled, joined, rows_of, skipper
from archive.parallel import parallel_map
from archive.tables.arrow import one_chunk

LINE = "@line"
BAD = "@bad"
"""Extra columns: the line of each row; why a row cannot be read (null where it can)."""

AGAIN = (
    "name it in skip if it is a footer; else look at delimiter, quote and columns of the mapping;"
    " if they are right the row was cut where it was written"
)
"""What to do about a row that has too few or too many cells."""

_KEYS = frozenset(
    ("parameter", "pairing", "disturbing", "disturbed", "end", "direction", "kind", "origin", "subject", "unit", "axis")
)


_LARGEST = 1 << 30
"""Bytes of a block that pyarrow.csv takes at once."""


@dataclass(frozen=True)
class TextBlock:
    """Whole lines: the number of the first in the file, how many ends of lines, and whether the last has no end."""

    text: bytes
    line: int
    lines: int
    last: bool = False


@dataclass(frozen=True)
class ParsedRows:
    """The rows of a block, and how many of its cells are ignored by name."""

    rows: pa.Table
    ignored: int = 0
    loose: tuple[tuple[int, str, Cell], ...] = ()
    """Cells of lines between the rows that are none of them: line, name and value."""


@dataclass
class Parser:
    """Parses the body of one table, block by block."""

    file: SourceFile
    table: SourceTable
    head: TextHead
    decimal: str
    types: dict[str, pa.DataType] = field(default_factory=dict)
    skip: BoundedPattern | None = None

    def __post_init__(self) -> None:
        self.skip = skipper(self.file)
        self.types = {n: self._type(n) for n in self.head.names}

    def _type(self, name: str) -> pa.DataType:
        f = self.table.by_source.get(name)
        if f is None and self.table.headings_are and _number(name):
            return pa.float64()
        if f is None:
            return pa.string()
        if self.table.rows == "points" and (
            f.to.table == "sweeps" or (f.to.table == "row" and f.to.name in ("value", "limit", "margin", "frequency"))
        ):
            return pa.float64()
        of_records = f.to.table not in ("readings", "reported", "sweeps", "row", "wiremap")
        if self.table.rows in ("points", "readings", "curves") and (of_records or f.to.name in _KEYS):
            return pa.dictionary(pa.int32(), pa.string())
        return pa.string()

    def parse(self, block: TextBlock) -> ParsedRows:
        """One block as an Arrow table."""
        plain = len(self.file.delimiter.encode()) == 1 >= len(self.file.quote.encode()) and not block.last
        table = self._fast(block) if plain else None
        return ParsedRows(table) if table is not None else self._careful(block)

    def _fast(self, block: TextBlock) -> pa.Table | None:
        """By pyarrow.csv, or None where the block is not regular."""
        try:
            table = self._arrow(block.text, self.types)
        except pa.ArrowInvalid as error:
            # A column that is no number everywhere is read as text.
            if "conversion error" not in str(error):
                return None
            try:
                table = self._arrow(block.text, {n: _text(t) for n, t in self.types.items()})
            except pa.ArrowInvalid:
                return None
        if table.num_rows != block.lines or self._holds_others(table):
            return None
        return table.append_column(LINE, pa.array(np.arange(block.line, block.line + block.lines)))

    def _arrow(self, text: bytes, types: dict[str, pa.DataType]) -> pa.Table:
        # The blocks are what the threads share: each is parsed whole, by one of them.
        size = min(len(text) + 1, _LARGEST)
        return pc_csv.read_csv(
            pa.BufferReader(text),
            read_options=pc_csv.ReadOptions(column_names=self.head.names, block_size=size, use_threads=False),
            parse_options=pc_csv.ParseOptions(
                delimiter=self.file.delimiter,
                quote_char=self.file.quote or False,
                # A line end inside quotes gives fewer rows than lines, and such a block is read with care anyway.
                newlines_in_values=False,
                ignore_empty_lines=True,
            ),
            convert_options=pc_csv.ConvertOptions(
                column_types=types,
                null_values=[""],
                strings_can_be_null=True,
                decimal_point=self.decimal,
                check_utf8=False,
            ),
        )

    def _holds_others(self, table: pa.Table) -> bool:
        """Whether rows may be blank, headings again or lines to skip, so that the block is to be read with care."""
        last = self.head.headings[-1] if self.head.headings else []
        at, head = next(((i, h) for i, c in enumerate(last) if (h := names.tidy(c))), (-1, ""))
        if head and head in map(names.tidy, _distinct(table.column(at))):
            return True
        if self._may_be_drawn(table):
            return True
        if self.skip is not None and self._may_skip(table, self.skip):
            return True
        if sum(not c.null_count for c in table.columns) < 2 <= table.num_columns:
            there = np.zeros(table.num_rows, dtype=np.int64)
            for c in table.columns:
                there += np.asarray(c.is_valid())
            return bool((there < 2).any())
        return table.num_columns < 2 and bool(table.column(0).null_count)

    @staticmethod
    def _may_be_drawn(table: pa.Table) -> bool:
        """Whether a row may be a line that is drawn, and no row: by its first cell that is filled."""
        for name in table.column_names:
            column = table.column(name)
            if not pa.types.is_floating(column.type):
                cells = one_chunk(column)
                cells = cells.dictionary if pa.types.is_dictionary(cells.type) else cells
                if pc.any(pc.match_substring_regex(cells, rf"^\s*{DRAWN}{{3}}"), min_count=0).as_py():
                    return True
            if not column.null_count:
                return False
            table = table.filter(column.is_null())
        return False

    def _may_skip(self, table: pa.Table, skip: BoundedPattern) -> bool:
        """Whether a pattern of lines to skip is found in a cell: in any, or only in the first of each row that is
        filled where all patterns begin there."""
        first = table.column(0)
        if all(p.startswith("^") for p in self.file.skip):
            if any(map(skip.search, _distinct(first))):
                return True
            if not first.null_count:
                return False
            table = table.filter(first.is_null())
        return any(skip.search(cell) for column in table.columns for cell in _distinct(column))

    def _careful(self, block: TextBlock) -> ParsedRows:
        """Row by row: what is no row of the table is passed over, what cannot be one is marked as bad."""
        lines: list[int] = []
        rows: list[list[str | None]] = []
        bad: list[str | None] = []
        width, ignored = len(self.head.names), 0
        loose: list[tuple[int, str, Cell]] = []
        text = block.text.decode("utf-8", "surrogatepass")
        headings = [[names.tidy(c) for c in r if names.tidy(c)] for r in self.head.headings]
        listed = list(rows_of(text, self.file, block.line))
        for number, (line, row, torn) in enumerate(listed):
            if blank(row):
                continue
            if [names.tidy(c) for c in row if names.tidy(c)] in headings:
                continue
            if self.skip and self.skip.search(joined(row)):
                ignored += len(filled(row))
                continue
            if not torn and lone(row, width, self.table.rows):
                loose += [(line, n or f"line {line}", v) for n, v in labels_of(row) if v is not None]
                continue
            why = "a quote that is never closed" if torn else None
            cut = block.last and number == len(listed) - 1 and not text.endswith("\n")
            if len(row) > width and blank(row[width:]):
                row = row[:width]
            if why is None and len(row) != width and (len(row) > width or cut or not self.head.ragged):
                why = f"{len(row)} cells"
            cells: list[str | None] = [c if c != "" else None for c in row[:width]]
            rows.append(cells + [None] * (width - len(cells)))
            lines.append(line)
            bad.append(why)
        columns: list[pa.Array] = [pa.array(c, type=pa.string()) for c in zip(*rows, strict=True)] if rows else []
        columns = columns or [pa.array([], type=pa.string()) for _ in range(width)]
        columns = [_coded(c, self.types[n]) for n, c in zip(self.head.names, columns, strict=True)]
        table = pa.table(columns, names=self.head.names)
        table = table.append_column(LINE, pa.array(lines, type=pa.int64()))
        if any(bad):
            table = table.append_column(BAD, pa.array(bad, type=pa.string()))
        return ParsedRows(table, ignored, tuple(loose))

    def tables(self, blocks: Iterator[bytes]) -> Iterator[ParsedRows]:
        """The tables of blocks of whole lines, in order; parsed by several threads, a little ahead."""
        return parallel_map(self.parse, self._parts(blocks))

    def _parts(self, blocks: Iterator[bytes]) -> Iterator[TextBlock]:
        """A last line without its end is read apart: it may be cut short."""
        line = self.head.body_line
        for text in blocks:
            at = len(text) if text.endswith(b"\n") else text.rfind(b"\n") + 1
            for part in (text[:at], text[at:]):
                if part:
                    block = TextBlock(part, line, count(part, b"\n"), not part.endswith(b"\n"))
                    line += block.lines
                    yield block


def _distinct(column: pa.ChunkedArray) -> list[str]:
    """The distinct texts of a column; none of one that holds numbers."""
    if pa.types.is_floating(column.type):
        return []
    cells = one_chunk(column)
    texts = cells.dictionary if pa.types.is_dictionary(cells.type) else cells.unique()
    return [c for c in texts.to_pylist() if c is not None]


def _text(kind: pa.DataType) -> pa.DataType:
    return pa.string() if pa.types.is_floating(kind) else kind


def _coded(column: pa.Array, kind: pa.DataType) -> pa.Array:
    return column.dictionary_encode() if pa.types.is_dictionary(kind) else column


def _number(name: str) -> bool:
    return bool(re.fullmatch(r"\s*[\d.,]+\s*(?:[kMG]?Hz)?\s*", name))
