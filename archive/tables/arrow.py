"""One small helper over Arrow columns."""

from __future__ import annotations

from typing import Any

import pyarrow as pa


def whole(column: Any) -> Any:
    """A column as one Arrow array. One that is in one piece already is not copied, as combine_chunks would."""
    if not isinstance(column, pa.ChunkedArray):
        return column
    if column.num_chunks == 1:
        return column.chunk(0)
    flat = column.combine_chunks()
    if isinstance(flat, pa.ChunkedArray):
        flat = flat.chunk(0) if flat.num_chunks else pa.array([], type=flat.type)
    return flat
