"""Reads link record CSV: streaming, typed column by column, every bad row reported."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
import pyarrow.csv as pcsv

from archive.errors import Trouble
from archive.formats.columns import typed
from archive.formats.merge import OpenTableFiles, merged
from archive.formats.open_csv.cells import text_of
from archive.formats.open_csv.check import header_of, refuse_metadata
from archive.formats.recognition import Entry
from archive.formats.table_cursor import ROW, RowFault, TablePart
from archive.tables import Batch, Column, schema, tables
from archive.tables.tokens import uncell

_BLOCK = 4 << 20
"""Bytes of a file that are parsed at once."""


def read(entry: Entry) -> Iterator[Batch]:
    """Batches of the tables beside a metadata file.

    A row with a wrong number of cells, or a cell that its column cannot take, sets its record aside.
    Errors: Trouble where a table has no or wrong columns, is not UTF-8, or the version is newer.
    """
    refuse_metadata(entry)
    return merged(CsvFiles(entry))


@dataclass(frozen=True)
class Broken:
    """A row with a wrong number of cells: its number, its text."""

    row: int
    text: str


class CsvFiles(OpenTableFiles):
    """The tables beside a metadata file."""

    layout, program, encoding = "link-record-csv", "open_csv", "utf-8"

    def __init__(self, metadata: Entry) -> None:
        super().__init__(metadata, ".csv")
        if "records" not in self.entries:
            raise Trouble(
                "there is no records.csv beside it",
                code="open-csv.no-records",
                where=metadata.name,
                remedy="hand in the whole folder or zip",
            )
        for name, entry in self.entries.items():
            header_of(name, entry)

    def place(self, name: str, row: int) -> str:
        """Every row is one line, and the first line is the header."""
        return f"line {row + 2}"

    def record_ids(self, name: str) -> Iterator[pa.Array]:
        """Column record_id, escapes undone."""
        column = tables()[name].column("record_id")
        for batch, _, _ in self._parsed(name, ["record_id"]):
            try:
                yield text_of(column, batch.column("record_id"))
            except ValueError:
                yield pa.array([_lenient(c) for c in batch.column("record_id").to_pylist()], type=pa.string())

    def parts(self, name: str) -> Iterator[TablePart]:
        """The rows, typed, with their line numbers."""
        for batch, rows, broken in self._parsed(name, None):
            yield _part(name, batch, rows, broken)

    def _parsed(self, name: str, columns: list[str] | None) -> Iterator[tuple[Any, Any, list[Broken]]]:
        """Blocks of the file as text, the numbers of their rows, and the rows with a wrong number of cells."""
        if name not in self.entries:
            return
        entry = self.entries[name]
        names = header_of(name, entry)
        first = 0
        for block in _blocks(entry.path):
            if block.isspace():
                continue
            broken: list[Broken] = []
            _refuse_other_encodings(block, entry, first)
            try:
                batch = _parse(block, names, columns, first, broken)
            except pa.ArrowInvalid as error:
                raise _unreadable(entry, error, first) from None
            yield batch, _numbers(batch.num_rows, first, [b.row for b in broken]), broken
            first += batch.num_rows + len(broken)


def _blocks(path: Path) -> Iterator[bytes]:
    """The lines of a file after the first, some megabytes at a time. Every row is one line, so any line end will do."""
    with path.open("rb") as file:
        file.readline()
        while block := file.read(_BLOCK):
            yield block if block.endswith(b"\n") else block + file.readline()


def _refuse_other_encodings(block: bytes, entry: Entry, first: int) -> None:
    """Errors: Trouble where a line is not UTF-8."""
    if block.isascii():
        return
    try:
        block.decode()
    except UnicodeDecodeError as error:
        line = first + 2 + block.count(b"\n", 0, error.start)
        raise Trouble(
            "is not UTF-8",
            code="open-csv.not-utf8",
            where=f"{entry.name}, line {line}",
            found=f"byte {block[error.start]:#04x}",
            remedy="save it as UTF-8",
        ) from None


def _parse(block: bytes, names: list[str], columns: list[str] | None, first: int, broken: list[Broken]) -> Any:
    """One block as an Arrow table of text; empty cells are null."""

    def wrong(row: Any) -> str:
        broken.append(Broken(first + row.number - 1, row.text))
        return "skip"

    return pcsv.read_csv(
        pa.BufferReader(block),
        read_options=pcsv.ReadOptions(column_names=names, block_size=len(block) + 1, use_threads=False),
        parse_options=pcsv.ParseOptions(newlines_in_values=False, invalid_row_handler=wrong),
        convert_options=pcsv.ConvertOptions(
            column_types={n: pa.string() for n in names},
            null_values=[""],
            strings_can_be_null=True,
            quoted_strings_can_be_null=True,
            include_columns=columns or names,
        ),
    ).combine_chunks()


def _numbers(count: int, first: int, skipped: list[int]) -> Any:
    """Numbers of the rows of a block: the first `count` from `first` on that were not skipped."""
    at = np.arange(first, first + count + len(skipped), dtype=np.int64)
    return at[~np.isin(at, skipped)][:count]


def _part(name: str, batch: Any, rows: Any, broken: list[Broken]) -> TablePart:
    wanted = schema(name)
    cells = f"{len(wanted)} cells"
    faults = [
        RowFault(name, b.row, _first_cell(name, b.text), "the row has a wrong number of cells", b.text[:200], cells)
        for b in broken
    ]
    columns = []
    for column in tables()[name].columns:
        if column.name not in batch.schema.names:
            columns.append(pa.nulls(batch.num_rows, column.arrow))
            continue
        values, bad = _typed(column, batch.column(column.name))
        if not column.nullable and values.null_count:
            told = {b[0] for b in bad}
            missing = np.flatnonzero(np.asarray(pc.is_null(values)))
            bad += [(int(i), "", "a cell that is not empty") for i in missing if int(i) not in told]
        faults += [
            RowFault(name, int(rows[i]), _id(batch, i), f"{column.name} cannot be taken", found, expected)
            for i, found, expected in bad
        ]
        columns.append(values)
    fields = [f.with_nullable(True) for f in wanted]
    table = pa.table(columns, schema=pa.schema(fields)).append_column(ROW, pa.array(rows, type=pa.int64()))
    return TablePart(table, faults)


def _typed(column: Column, cell: Any) -> tuple[Any, list[tuple[int, str, str]]]:
    try:
        values, bad = typed(column, text_of(column, cell))
    except ValueError:
        out, bad_escapes = [], []
        for i, one in enumerate(cell.to_pylist()):
            try:
                out.append(text_of(column, pa.array([one], type=pa.string()))[0].as_py())
            except ValueError:
                out.append(None)
                bad_escapes.append((i, str(one)[:80], "text in its escapes: \\\\, \\u{hex}, \\E"))
        return pa.array(out, type=pa.string()), bad_escapes
    return values, [(b.row, b.found, b.expected) for b in bad]


def _id(batch: pa.Table, row: int) -> str | None:
    """Record of a bad row, None in a table without records."""
    return _lenient(batch.column("record_id")[row].as_py()) if "record_id" in batch.schema.names else None


def _lenient(cell: str | None) -> str | None:
    try:
        return None if cell is None else uncell(cell)
    except ValueError:
        return cell


def _first_cell(name: str, text: str) -> str | None:
    """The record that a broken row names, where its first cell can be read."""
    if tables()[name].columns[0].name != "record_id":
        return None
    cell = text.split(",")[0]
    return None if cell.startswith('"') else _lenient(cell or None)


def _unreadable(entry: Entry, error: Exception, first: int) -> Trouble:
    text = " ".join(str(error).split())[:200]
    where = f"{entry.name}, after line {first + 1}"
    return Trouble("is not readable as CSV", code="open-csv.not-csv", where=where, found=text, remedy="export it again")
