"""Small helpers over Arrow columns: one chunk, rows by id, words as codes; and the types of the arrays made of them."""

from __future__ import annotations

from typing import TypeAlias

import numpy as np
import numpy.typing as npt
import pyarrow as pa
import pyarrow.compute as pc

Reals: TypeAlias = npt.NDArray[np.float64]
Ints: TypeAlias = npt.NDArray[np.int64]
Bools: TypeAlias = npt.NDArray[np.bool_]
Words: TypeAlias = npt.NDArray[np.object_]
"""Texts (str)."""

ArrowColumn: TypeAlias = "pa.Array | pa.ChunkedArray"


def one_chunk(column: ArrowColumn) -> pa.Array:
    """A column as one Arrow array. A column of one chunk is not copied, as combine_chunks would."""
    if not isinstance(column, pa.ChunkedArray):
        return column
    if column.num_chunks == 1:
        return column.chunk(0)
    return pa.concat_arrays(column.chunks) if column.num_chunks else pa.array([], type=column.type)


def rows_of(cells: ArrowColumn, ids: ArrowColumn, absent: int = -1) -> Ints:
    """For each cell the row at which `ids` holds it first; `absent` where it is null or not there."""
    found = pc.index_in(cells, value_set=one_chunk(ids), skip_nulls=True)
    return np.asarray(pc.fill_null(found, absent).to_numpy(), np.int64)


def joined(keys: ArrowColumn, ids: ArrowColumn, column: ArrowColumn) -> pa.Array:
    """For each key the cell of `column` in the first row with that id; null where the key is null or not there."""
    return one_chunk(column).take(one_chunk(pc.index_in(keys, value_set=one_chunk(ids), skip_nulls=True)))


def coded(column: ArrowColumn) -> tuple[list[str], Ints]:
    """Distinct words of a text column in the order of their first appearance, and the code of each cell; -1 for null.

    So [*words, ""] indexed by the codes gives the column again.
    """
    encoded = one_chunk(column).dictionary_encode()
    codes = encoded.indices
    if not codes.null_count:
        return encoded.dictionary.to_pylist(), numbers(codes).astype(np.int64)
    known = numbers(codes.is_valid().cast(pa.int8())).astype(np.bool_)
    made = np.full(len(codes), -1, np.int64)
    made[known] = numbers(codes.drop_null())
    return encoded.dictionary.to_pylist(), made


def numbers(column: ArrowColumn) -> npt.NDArray[np.generic]:
    """A numeric column without nulls as an array. Arrow's own conversion imports pandas where it is installed, which
    takes longer than most questions; this does not."""
    return np.from_dlpack(one_chunk(column))


def reals(column: ArrowColumn) -> Reals:
    """A numeric column as float64, NaN where null. Read only where the column has one chunk and no null."""
    return np.asarray(one_chunk(column).to_numpy(zero_copy_only=False), np.float64)
