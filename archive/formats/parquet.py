"""The tables as Parquet files, one per table: for other programs, and readable back.

Written with zstd and page checksums: without them a flipped bit in a page comes out as another number, unnoticed.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from contextlib import ExitStack
from pathlib import Path
from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq

from archive.confined import Confined
from archive.errors import Trouble
from archive.formats.deduplicate_shared import SharedRowFilter
from archive.formats.merge import OpenTableFiles, merged
from archive.formats.parquet_batches import batches, columns_of, damaged
from archive.formats.recognition import Entry, Recognition
from archive.formats.table_cursor import ROW, RowFault, TablePart
from archive.tables import Batch, namespace, pieces, schema, tables

_MAGIC = b"PAR1"
_ROWS = 20_000


def recognise(entry: Entry) -> Recognition | None:
    """records.parquet; it takes the other tables beside it."""
    if entry.path.name != "records.parquet" or not entry.head.startswith(_MAGIC):
        return None
    beside = _beside(entry)
    return Recognition(0.95, f"records.parquet with {len(beside) - 1} tables beside it", "link-record-parquet", beside)


def _beside(entry: Entry) -> frozenset[Path]:
    return frozenset(p for t in tables() if (p := entry.path.parent / f"{t}.parquet").is_file())


def read(entry: Entry, *, mapping: Any = None, draft: bool = True) -> Iterator[Batch]:
    """Batches of the tables beside records.parquet. Errors: Trouble where a file is damaged or has wrong columns."""
    beside = _beside(entry)
    with Confined(entry.name, sum(path.stat().st_size for path in beside)) as process:
        yield from merged(ParquetFiles(entry, process))


def write(batches: Iterable[Batch], out: Path) -> None:
    """A folder with one file per table, those without rows too.

    Errors: ValueError where a batch holds what the tables cannot; OSError.
    """
    out.mkdir(exist_ok=True)
    once = SharedRowFilter()
    with ExitStack() as stack:
        files = {
            name: stack.enter_context(
                pq.ParquetWriter(
                    out / f"{name}.parquet",
                    schema(name).with_metadata({"schema": namespace(), "table": name}),
                    compression="zstd",
                    write_page_checksum=True,
                    version="2.6",
                )
            )
            for name in tables()
        }
        for batch in batches:
            for part in pieces(batch):
                for name, rows in once.rows(part):
                    files[name].write_table(rows.replace_schema_metadata(files[name].schema.metadata))


class ParquetFiles(OpenTableFiles):
    """The tables beside records.parquet, each read in a process of their own: who wrote them is not known."""

    layout, program = "link-record-parquet", "parquet"

    def __init__(self, records: Entry, process: Confined) -> None:
        super().__init__(records, ".parquet")
        self._process = process
        for name in self.entries:
            self._check(name)

    def place(self, name: str, row: int) -> str:
        """Rows counted from 1."""
        return f"row {row + 1}"

    def record_ids(self, name: str) -> Iterator[pa.Array]:
        """Column record_id."""
        for batch in self._batches(name, ["record_id"]):
            there = "record_id" in batch.schema.names  # where none of its rows names a record, it may be left out
            yield (
                self._cast(name, batch.column("record_id"), pa.string()) if there else pa.nulls(len(batch), pa.string())
            )

    def parts(self, name: str) -> Iterator[TablePart]:
        """The rows in the types of the tables, with their numbers."""
        wanted = pa.schema([f.with_nullable(True) for f in schema(name)])
        first = 0
        for batch in self._batches(name, None):
            columns = [
                self._cast(name, batch.column(f.name), f.type)
                if f.name in batch.schema.names
                else pa.nulls(batch.num_rows, f.type)
                for f in wanted
            ]
            rows = np.arange(first, first + batch.num_rows)
            first += batch.num_rows
            table = pa.table(columns, schema=wanted).append_column(ROW, pa.array(rows))
            faults = []
            for field in schema(name):
                if not field.nullable and table.column(field.name).null_count:
                    missing = np.flatnonzero(np.asarray(table.column(field.name).is_null()))
                    for i in missing:
                        record = table.column("record_id")[int(i)].as_py() if "record_id" in wanted.names else None
                        faults.append(
                            RowFault(name, int(rows[i]), record, f"{field.name} must be set", "null", "a value")
                        )
            yield TablePart(table, faults)

    def _batches(self, name: str, columns: list[str] | None) -> Iterator[pa.RecordBatch]:
        if name in self.entries:
            entry, rows = self.entries[name], 500 if name == "sweeps" else _ROWS
            for found in self._process.stream(batches, str(entry.path), entry.name, columns, rows, name=entry.name):
                with pa.ipc.open_stream(found) as stream:
                    for batch in stream:
                        batch.validate(full=True)
                        yield batch

    def _cast(self, name: str, column: pa.Array, wanted: pa.DataType) -> pa.Array:
        """Errors: Trouble where a value does not fit the type of the table."""
        try:
            return column.cast(wanted)
        except pa.ArrowInvalid as error:
            raise damaged(self.entries[name].name, error) from None

    def _check(self, name: str) -> None:
        """Errors: Trouble where the columns are not those of the table."""
        entry = self.entries[name]
        stream = self._process.stream(columns_of, str(entry.path), entry.name, name=entry.name)
        found = pa.ipc.read_schema(pa.BufferReader(next(stream)))
        want = schema(name)
        unknown = [n for n in found.names if n not in want.names]
        missing = [f.name for f in want if not f.nullable and f.name not in found.names]
        other = [f.name for f in found if f.name in want.names and not _castable(f.type, want.field(f.name).type)]
        if unknown or missing or other:
            raise Trouble(
                "its columns are not those of this table",
                code="parquet.columns",
                where=entry.name,
                found="; ".join(
                    f"{word} {', '.join(names)}"
                    for word, names in (("unknown", unknown), ("missing", missing), ("of another type", other))
                    if names
                ),
                expected=", ".join(want.names)[:200],
            )


def _castable(found: Any, wanted: Any) -> bool:
    try:
        pa.array([], type=found).cast(wanted)
    except (pa.ArrowInvalid, pa.ArrowNotImplementedError):
        return False
    return True
