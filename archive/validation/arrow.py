"""Small helpers over Arrow columns."""

from __future__ import annotations

from typing import Any

import pyarrow as pa


def one(column: Any) -> Any:
    """A column as one Arrow array. One that is in one piece already is not copied, as combine_chunks would."""
    if not isinstance(column, pa.ChunkedArray):
        return column
    return column.chunk(0) if column.num_chunks == 1 else column.combine_chunks()
