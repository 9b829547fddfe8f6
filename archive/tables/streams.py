"""Batches in a file, as one part of this program hands them to another: Arrow streams behind each other."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from pathlib import Path

import pyarrow as pa

from archive.tables.batch import Batch

_NAME = b"muniment.table"


def write_batches(path: Path, batches: Iterable[Batch]) -> int:
    """Writes batches into a new file; their number."""
    number = 0
    with pa.OSFile(str(path), "wb") as out:
        for batch in batches:
            for name, table in batch.items():
                if not table.num_rows and name != "records":
                    continue
                told = table.schema.with_metadata({_NAME: name, b"muniment.batch": str(number)})
                with pa.ipc.new_stream(out, told) as stream:
                    stream.write_table(table)
            number += 1
    return number


def read_batches(path: Path) -> Iterator[Batch]:
    """The batches of a file that write_batches wrote. Errors: pyarrow.ArrowInvalid for another, or one cut short."""
    held: dict[str, pa.Table] = {}
    of = b""
    with pa.OSFile(str(path), "rb") as file:
        while file.tell() < file.size():
            table = pa.ipc.open_stream(file).read_all()
            said = table.schema.metadata
            if held and said[b"muniment.batch"] != of:
                yield Batch(held)
                held = {}
            of = said[b"muniment.batch"]
            held[said[_NAME].decode()] = table.replace_schema_metadata(None)
    if held:
        yield Batch(held)
