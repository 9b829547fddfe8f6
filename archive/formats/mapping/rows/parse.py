"""Blocks of delimited text as Arrow tables: pyarrow.csv where a block is regular, row by row where it is not."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.csv as pc_csv

from archive.formats.base.text import count
from archive.formats.mapping import names
from archive.formats.mapping.model import SourceFile, SourceTable
from archive.formats.mapping.rows.head import TextHead
from archive.formats.mapping.rows.text_rows import blank, filled, joined, rows_of, skipper
from archive.parallel import parallel_map

LINE = "@line"
BAD = "@bad"
"""Extra columns: the line of each row; why a row cannot be read (null where it can)."""

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

    rows: Any
    ignored: int = 0


@dataclass
class Parser:
    """Parses the body of one table, block by block."""

    file: SourceFile
    table: SourceTable
    head: TextHead
    decimal: str
    types: dict[str, Any] = field(default_factory=dict)
    skip: re.Pattern[str] | None = None

    def __post_init__(self) -> None:
        self.skip = skipper(self.file)
        self.types = {n: self._type(n) for n in self.head.names}

    def _type(self, name: str) -> Any:
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
        plain = len(self.file.delimiter) == 1 and not block.last
        table = self._fast(block) if plain else None
        return ParsedRows(table) if table is not None else self._careful(block)

    def _fast(self, block: TextBlock) -> Any:
        """By pyarrow.csv, or None where the block is not regular."""
        # Not more than text is tried first: a column that is no number everywhere comes as text.
        for types in (self.types, {n: _text(t) for n, t in self.types.items()}):
            try:
                table = self._arrow(block.text, types)
            except pa.ArrowInvalid as error:
                if "conversion error" in str(error) and types is self.types:
                    continue
                return None
            break
        else:
            return None
        if table.num_rows != block.lines or self._furniture(table):
            return None
        return table.append_column(LINE, pa.array(np.arange(block.line, block.line + block.lines)))

    def _arrow(self, text: bytes, types: dict[str, Any]) -> Any:
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

    def _furniture(self, table: Any) -> bool:
        """Whether rows may be headings again or lines to skip, so that the block is to be read with care."""
        first = self.head.names[0]
        column = table.column(first)
        if pa.types.is_floating(column.type) or not table.num_rows:
            return False
        distinct = column.combine_chunks()
        distinct = distinct.dictionary if pa.types.is_dictionary(distinct.type) else distinct.unique()
        heading = self.head.headings[-1][0].strip() if self.head.headings and self.head.headings[-1] else None
        for cell in distinct.to_pylist():
            if cell is None:
                continue
            if heading and cell.strip() == heading:
                return True
            if self.skip and self.skip.search(cell):
                return True
        return self._blank_rows(table) or (bool(self.skip and column.null_count) and self._indented(table, column))

    def _indented(self, table: Any, column: Any) -> bool:
        """Whether a row that leaves its first cell blank may be one to skip."""
        assert self.skip is not None
        rows = table.filter(column.is_null())
        for other in rows.columns[1:]:
            cells = other.combine_chunks()
            if pa.types.is_floating(cells.type) or pa.types.is_integer(cells.type):
                continue
            cells = cells.dictionary_decode() if pa.types.is_dictionary(cells.type) else cells
            if any(c is not None and self.skip.search(str(c)) for c in cells.unique().to_pylist()):
                return True
        return False

    def _blank_rows(self, table: Any) -> bool:
        nulls = [c.null_count for c in table.columns]
        if min(nulls, default=0) == 0:
            return False
        empty = np.ones(table.num_rows, dtype=bool)
        for c in table.columns:
            empty &= np.asarray(c.is_null())
        return bool(empty.any())

    def _careful(self, block: TextBlock) -> ParsedRows:
        """Row by row: what is no row of the table is passed over, what cannot be one is marked as bad."""
        lines: list[int] = []
        rows: list[list[str | None]] = []
        bad: list[str | None] = []
        width, ignored = len(self.head.names), 0
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
            why = "a quote that is never closed" if torn else None
            cut = block.last and number == len(listed) - 1 and not text.endswith("\n")
            if len(row) > width and blank(row[width:]):
                row = row[:width]
            if len(row) != width and (len(row) > width or cut or not self.head.ragged):
                why = f"{len(row)} cells"
            cells: list[str | None] = [c if c != "" else None for c in row[:width]]
            rows.append(cells + [None] * (width - len(cells)))
            lines.append(line)
            bad.append(why)
        columns: list[Any] = [pa.array(c, type=pa.string()) for c in zip(*rows, strict=True)] if rows else []
        columns = columns or [pa.array([], type=pa.string()) for _ in range(width)]
        columns = [_coded(c, self.types[n]) for n, c in zip(self.head.names, columns, strict=True)]
        table = pa.table(columns, names=self.head.names)
        table = table.append_column(LINE, pa.array(lines, type=pa.int64()))
        if any(bad):
            table = table.append_column(BAD, pa.array(bad, type=pa.string()))
        return ParsedRows(table, ignored)

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


def _text(kind: Any) -> Any:
    return pa.string() if pa.types.is_floating(kind) else kind


def _coded(column: Any, kind: Any) -> Any:
    return column.dictionary_encode() if pa.types.is_dictionary(kind) else column


def _number(name: str) -> bool:
    return bool(re.fullmatch(r"\s*[\d.,]+\s*(?:[kMG]?Hz)?\s*", name))
