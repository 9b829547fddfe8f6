"""A table whose rows do not stand in the order of the records is sorted by way of a folder, in bounded memory."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any, Protocol

import numpy as np
import pyarrow as pa

from archive.formats.table_cursor import Positions, TablePart
from archive.tables import MOST_BYTES, MOST_RECORDS


class _Files(Protocol):
    def parts(self, name: str) -> Iterator[TablePart]: ...

    def record_ids(self, name: str) -> Iterator[Any]: ...


def in_order(files: _Files, name: str, positions: Positions, folder: Path) -> Iterator[TablePart]:
    """The parts of a table, with its rows in the order of the records. folder: to be made where it is needed."""
    if _sorted(files.record_ids(name), positions):
        return files.parts(name)
    return _sort(files.parts(name), positions, folder)


def _sorted(ids: Iterator[Any], positions: Positions) -> bool:
    last = 0
    for part in ids:
        at = positions.of(part)
        at = at[at >= 0]
        if len(at):
            if at[0] < last or (at[1:] < at[:-1]).any():
                return False
            last = int(at[-1])
    return True


def _sort(parts: Iterator[TablePart], positions: Positions, folder: Path) -> Iterator[TablePart]:
    folder.mkdir()
    held: dict[int, list[Any]] = {}
    files: dict[int, list[Path]] = {}
    size = count = 0
    for part in parts:
        if part.faults:
            yield TablePart(part.table.slice(0, 0), part.faults)
        at = positions.of(part.table.column("record_id")) // MOST_RECORDS
        for bucket in np.unique(at):
            held.setdefault(int(bucket), []).append(part.table.filter(pa.array(at == bucket)))
        size += part.table.nbytes
        if size > MOST_BYTES:
            for bucket, rows in held.items():
                count += 1
                path = folder / f"{count}.arrow"
                _write(path, pa.concat_tables(rows))
                files.setdefault(bucket, []).append(path)
            held, size = {}, 0
    for bucket in sorted({*held, *files}):
        table = pa.concat_tables([*map(_read, files.get(bucket, [])), *held.get(bucket, [])])
        order = np.argsort(positions.of(table.column("record_id")), kind="stable")
        yield TablePart(table.take(pa.array(order)), [])


def _write(path: Path, table: Any) -> None:
    with pa.OSFile(str(path), "wb") as sink, pa.ipc.new_file(sink, table.schema) as writer:
        writer.write_table(table)


def _read(path: Path) -> Any:
    with pa.OSFile(str(path), "rb") as source, pa.ipc.open_file(source) as reader:
        return reader.read_all()
