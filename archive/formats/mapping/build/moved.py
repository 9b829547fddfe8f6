"""Cells that a field takes and that cannot be used: they become extras, each of them once."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

import numpy as np
import pyarrow as pa

from archive.formats.mapping.row_frame import RowFrame, valid
from archive.tables.arrow import Bools, Ints


@dataclass
class Moved:
    """Some cells of one column: their records (int64), their name, places and texts.

    cell: which cell of the source each is, as RowFrame.cells has it. sizes: how many cells of the source each counts
    for, where not one. source: source_id of their file, where it is not that of the records.
    """

    record: Ints
    name: str
    place: pa.Array
    text: pa.Array
    cell: Ints | None = None
    sizes: Ints | None = None
    source: str = ""


def once(moved: Iterable[Moved], used: Ints, good: Bools) -> Iterator[tuple[Moved, Ints, int]]:
    """What becomes an extra: the rows (int64) of each entry, and how many cells of the source they are.

    used: cells that another row could use; they stay where they are. good: boolean array over the records.
    """
    done = np.unique(np.append(used, -1))
    for m in moved:
        keep = np.flatnonzero(np.asarray(m.text.is_valid()) & good[m.record])
        if m.cell is not None:
            codes, first = np.unique(m.cell[keep], return_index=True)
            free = ~np.isin(codes, done)
            done = np.union1d(done, codes)
            keep = keep[np.sort(first[free])]
        if len(keep):
            yield m, keep, len(keep) if m.sizes is None else int(m.sizes[keep].sum())


def used_cells(frame: RowFrame, names: Iterable[str], lost: Bools, good: Bools) -> Ints:
    """The cells of some columns that a row which is not lost has, where rows share cells: int64."""
    rows = ~lost & good[np.maximum(frame.record, 0)]
    found = [np.zeros(0, dtype=np.int64)]
    for name in names:
        cell = frame.cells(name)
        if cell is not None:
            found.append(np.unique(cell[rows & valid(frame.columns[name])]))
    return np.concatenate(found)
