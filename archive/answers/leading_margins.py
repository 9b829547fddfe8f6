"""The leading margin of archived verdicts: as stored, or from the grades beside them where they are older than it."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import Any

import pyarrow as pa
import pyarrow.compute as pc

from archive.grading.leading import COLUMNS, with_leading
from archive.tables import schema


def verdicts_with_leading(verdicts: pa.Table, grades: Callable[[], pa.Table]) -> pa.Table:
    """Rows of verdicts with their leading margins. Stored ones stay as they are.

    grades: gives those of the same records; not called where margins are stored.
    """
    if verdicts.num_rows == 0 or pc.any(pc.is_valid(verdicts[COLUMNS[0]])).as_py():
        return verdicts
    return with_leading(verdicts, grades())


def rows_with_leading(
    verdicts: Sequence[Mapping[str, Any]], grades: Sequence[Mapping[str, Any]]
) -> list[dict[str, Any]]:
    """The same of rows as dicts, with all columns of their tables."""

    def table(name: str, rows: Sequence[Mapping[str, Any]]) -> pa.Table:
        return pa.Table.from_pylist([dict(row) for row in rows], schema(name))

    stored = verdicts_with_leading(table("verdicts", verdicts), lambda: table("grades", grades))
    found: list[dict[str, Any]] = stored.to_pylist()
    return found
