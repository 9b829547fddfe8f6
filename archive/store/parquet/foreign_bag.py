"""The tables of a bag that was handed in: who wrote them is not known, and its manifests are its own word.

They are decoded in a process of its own (archive.confined); Arrow's messages of plain columns come back.
"""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pyarrow as pa

from archive.confined import Confined
from archive.errors import Trouble
from archive.formats.parquet_batches import message
from archive.store.parquet.reader import BagTables
from archive.store.parquet.writer import FOLDER
from archive.tables import Batch

_OURS = ("archive.parquet-damaged", "archive.file-missing")


def foreign_batches(bag: Path, name: str) -> Iterator[Batch]:
    """Batches of all records of a bag; name: of the bag, for messages. Errors: Trouble where its tables are damaged,
    or reading them takes more memory or time than it may."""
    size = sum(path.stat().st_size for path in (bag / "data" / FOLDER).iterdir())
    with Confined(name, size) as process:
        try:
            for parts in process.stream(messages, str(bag)):
                yield Batch({table: _table(data) for table, data in parts})
        except Trouble as trouble:
            raise (damaged(name, str(trouble)) if trouble.code in _OURS else trouble) from None
        except (pa.ArrowException, ValueError) as error:
            raise damaged(name, str(error)) from None


def messages(bag: str) -> Iterator[list[tuple[str, bytes]]]:
    """For each batch the tables that have rows, each as its name and an Arrow stream. Runs in the other process."""
    for batch in BagTables(Path(bag)).batches():
        yield [(name, message(table)) for name, table in batch.items() if table.num_rows]


def _table(data: bytes) -> pa.Table:
    with pa.ipc.open_stream(data) as stream:
        table = stream.read_all()
    table.validate(full=True)
    return table


def damaged(name: str, found: str) -> Trouble:
    """Why a bag is not read."""
    return Trouble(
        "the tables of the bag are damaged",
        code="bag.tables-damaged",
        where=name,
        found=" ".join(found.split())[:200],
        remedy="copy the bag again",
    )
