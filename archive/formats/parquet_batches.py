"""Rows of a Parquet file that somebody else may have written.

Runs in a process of its own (archive.confined), so that it imports little.
"""

from __future__ import annotations

from collections.abc import Iterator

import pyarrow as pa
import pyarrow.parquet as pq

from archive.errors import Trouble


def columns_of(path: str, name: str) -> Iterator[bytes]:
    """The schema, as an Arrow message. Errors: Trouble where the file is damaged or no Parquet."""
    try:
        yield pq.read_schema(path).remove_metadata().serialize().to_pybytes()
    except MemoryError:  # Arrow's own is an ArrowException too
        raise
    except (pa.ArrowException, OSError) as error:
        raise damaged(name, error) from None


def batches(path: str, name: str, columns: list[str] | None, rows: int) -> Iterator[bytes]:
    """Some rows at a time, each as an Arrow stream. columns: all where None. Errors: as columns_of."""
    try:
        with pq.ParquetFile(path, page_checksum_verification=True) as file:
            for group in range(file.num_row_groups):
                for batch in file.iter_batches(rows, row_groups=[group], columns=columns, use_threads=False):
                    yield message(batch)
    except MemoryError:  # Arrow's own is an ArrowException too
        raise
    except (pa.ArrowException, OSError) as error:
        raise damaged(name, error) from None


def message(rows: pa.RecordBatch | pa.Table) -> bytes:
    """The rows as an Arrow stream."""
    sink = pa.BufferOutputStream()
    with pa.ipc.new_stream(sink, rows.schema) as stream:
        stream.write(rows)
    made: bytes = sink.getvalue().to_pybytes()
    return made


def damaged(name: str, error: Exception) -> Trouble:
    """Why a file is not read."""
    found = " ".join(str(error).split())[:200]
    remedy = "copy or export it again"
    return Trouble("is damaged or not Parquet", code="parquet.damaged", where=name, found=found, remedy=remedy)
