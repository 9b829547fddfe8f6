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

from archive.errors import Trouble
from archive.formats.deduplicate_shared import SharedRowFilter
from archive.formats.merge import TableFiles, merged
from archive.formats.recognition import Entry, Recognition
from archive.formats.table_cursor import ROW, RowFault, TablePart
from archive.tables import Batch, namespace, pieces, schema, tables

_MAGIC = b"PAR1"
_ROWS = 20_000


def recognise(entry: Entry) -> Recognition | None:
    """records.parquet; it takes the other tables beside it."""
    if entry.path.name != "records.parquet" or not entry.head.startswith(_MAGIC):
        return None
    beside = frozenset(p for t in tables() if (p := entry.path.parent / f"{t}.parquet").is_file())
    return Recognition(0.95, f"records.parquet with {len(beside) - 1} tables beside it", "link-record-parquet", beside)


def read(entry: Entry, *, mapping: Any = None, draft: bool = True) -> Iterator[Batch]:
    """Batches of the tables beside records.parquet. Errors: Trouble where a file is damaged or has wrong columns."""
    return merged(ParquetFiles(entry))


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


class ParquetFiles(TableFiles):
    """The tables beside records.parquet."""

    layout, program = "link-record-parquet", "parquet"

    def __init__(self, records: Entry) -> None:
        super().__init__(records, ".parquet")
        for name in self.entries:
            self._check(name)

    def place(self, name: str, row: int) -> str:
        """Rows counted from 1."""
        return f"row {row + 1}"

    def record_ids(self, name: str) -> Iterator[pa.Array]:
        """Column record_id."""
        for batch in self._batches(name, ["record_id"]):
            yield batch.column("record_id").cast(pa.string())

    def parts(self, name: str) -> Iterator[TablePart]:
        """The rows in the types of the tables, with their numbers."""
        wanted = pa.schema([f.with_nullable(True) for f in schema(name)])
        first = 0
        for batch in self._batches(name, None):
            columns = [
                batch.column(f.name).cast(f.type) if f.name in batch.schema.names else pa.nulls(batch.num_rows, f.type)
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

    def _batches(self, name: str, columns: list[str] | None) -> Iterator[Any]:
        if name not in self.entries:
            return
        entry = self.entries[name]
        rows = 500 if name == "sweeps" else _ROWS
        try:
            with pq.ParquetFile(entry.path, page_checksum_verification=True) as file:
                for group in range(file.num_row_groups):
                    yield from file.iter_batches(rows, row_groups=[group], columns=columns, use_threads=False)
        except (pa.ArrowInvalid, OSError) as error:
            raise _damaged(entry, error) from None

    def _check(self, name: str) -> None:
        """Errors: Trouble where the columns are not those of the table."""
        entry = self.entries[name]
        try:
            found = pq.read_schema(entry.path)
        except (pa.ArrowInvalid, OSError) as error:
            raise _damaged(entry, error) from None
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


def _damaged(entry: Entry, error: Exception) -> Trouble:
    found = " ".join(str(error).split())[:200]
    return Trouble(
        "is damaged or not Parquet",
        code="parquet.damaged",
        where=entry.name,
        found=found,
        remedy="copy or export it again",
    )


def _castable(found: Any, wanted: Any) -> bool:
    try:
        pa.array([], type=found).cast(wanted)
    except (pa.ArrowInvalid, pa.ArrowNotImplementedError):
        return False
    return True
