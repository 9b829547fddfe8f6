"""The account of a file: every cell is mapped once it is in a table, an extra, or ignored by name."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from archive.formats.base import numbers
from archive.formats.mapping.build.moved import Moved, once, used_cells
from archive.formats.mapping.build.record_facts import RecordFacts
from archive.formats.mapping.build.table_parts import TableParts
from archive.formats.mapping.record_chunk import Counted
from archive.formats.mapping.row_frame import RowFrame, valid
from archive.tables.arrow import Bools, Ints

_NONE = np.zeros(0, dtype=np.int64)
_OF_RECORDS = ("records", "jobs", "places", "instruments", "people")


@dataclass
class CellAccount:
    """Cells of one file: read = mapped + extras + ignored. Cells of records set aside are in none of them."""

    read: int = 0
    mapped: int = 0
    extras: int = 0
    ignored: int = 0

    def ignore(self, cells: int) -> None:
        """Counts cells that the mapping ignores by name."""
        self.read += cells
        self.ignored += cells


class CellAccounts:
    """The accounts of the files that are read together. first: of the file whose records they are."""

    def __init__(self, source_id: str) -> None:
        self.first = CellAccount()
        self._of = {source_id: self.first}

    def add(self, source_id: str) -> None:
        """One more file."""
        self._of[source_id] = CellAccount()

    def of(self, source_id: str) -> CellAccount:
        """The account of a file; "" is the first."""
        return self._of.get(source_id, self.first)

    def settle(
        self, frames: Sequence[RowFrame], facts: RecordFacts, lost: list[LostCells], parts: TableParts, good: Bools
    ) -> None:
        """Counts the cells of frames; those that reached no table become extras.

        lost: of each frame. good: boolean, the records that are not set aside.
        """
        for frame in frames:
            if frame.counts:
                self._frame(frame, parts, good)
        moved = [*facts.moved, *(m for one in lost for m in one.moved())]
        used = np.concatenate([facts.used(good), *(one.used(good) for one in lost)]) if moved else _NONE
        for m, keep, count in once(moved, used, good):
            at = pa.array(keep)
            _extra(parts, m.record[keep], m.name, m.place.take(at), m.text.take(at))
            a = self.of(m.source)
            a.mapped -= count
            a.extras += count

    def _frame(self, frame: RowFrame, parts: TableParts, good: Bools) -> None:
        """Counts the cells of a frame; those that no field takes become extras. A shared cell goes to one record."""
        a = self.of(frame.source)
        known, ignored = frame.table.by_source, set(frame.table.ignore)
        counted: dict[str, Ints] = {}
        for name, cells in frame.columns.items():
            if name in frame.uncounted:
                continue
            there = valid(cells)
            if not good.all():
                there = there & good[np.maximum(frame.record, 0)]
            if frame.shared and len(there):
                there[int(there.argmax()) + 1 :] = False
            count = int(there.sum())
            if name in frame.above:
                # Parts of a cell are that cell, once.
                of = known[name].stands_in if name in known else name
                cell = np.setdiff1d(frame.above[name][there], np.append(counted.get(of, _NONE), -1))
                counted[of] = np.append(counted.get(of, _NONE), cell)
                count = len(cell)
            if frame.axis is not None and pa.types.is_list(cells.type):
                count = int(_sizes(frame, cells)[there].sum())
            a.read += count
            if name in known:
                a.mapped += count
            elif name in ignored:
                a.ignored += count
            elif count:
                at = np.flatnonzero(there)
                _extra(parts, frame.record[at], name, frame.where(at), _texts(cells.take(pa.array(at))))
                a.extras += count

    def counted(self, counted: Counted, parts: TableParts, good: Bools) -> None:
        """The cells of records that the reader counted itself."""
        a = self.first
        if not good.any():
            return
        mapped = int(counted.mapped[good].sum()) + counted.mapped_around
        ignored = int(counted.ignored[good].sum()) + counted.ignored_around
        first = int(good.argmax())
        loose = [(first if i < 0 else i, name, text) for i, name, text in counted.loose if i < 0 or good[i]]
        a.read += mapped + ignored + len(loose)
        a.mapped, a.ignored, a.extras = a.mapped + mapped, a.ignored + ignored, a.extras + len(loose)
        if loose:
            record = np.array([i for i, _, _ in loose], dtype=np.int64)
            name, text = (pa.array([x[k] for x in loose], type=pa.string()) for k in (1, 2))
            parts.add("extras", record, name=name, value=text)


def _extra(parts: TableParts, record: Ints, name: str, place: pa.Array, text: pa.Array) -> None:
    parts.add("extras", record, name=name, place=place, value=text)


@dataclass
class LostCells:
    """The cells of a frame that cannot be used, by column: boolean arrays over its rows."""

    frame: RowFrame
    by: dict[str, Bools]

    def moved(self) -> Iterator[Moved]:
        """They on their way to the extras."""
        for name, lost in self.by.items():
            rows = np.flatnonzero(lost)
            if not len(rows):
                continue
            frame, cell = self.frame, self.frame.cells(name)
            part = frame.table.by_source.get(name)
            name = part.cell if part is not None and part.cell in frame.columns else name
            cells = frame.columns[name].take(pa.array(rows))
            which = None if cell is None else cell[rows]
            texts, sizes = _texts(cells), _sizes(frame, cells)
            yield Moved(frame.record[rows], name, frame.where(rows), texts, which, sizes, frame.source)

    def used(self, good: Bools) -> Ints:
        """The cells of its rows that are used, where rows share cells."""
        found = [used_cells(self.frame, [name], lost, good) for name, lost in self.by.items()]
        return np.concatenate([_NONE, *found])


def lost_cells(frame: RowFrame, unread: list[tuple[str, Ints]]) -> LostCells:
    """Cells of a frame that reached no table, such as those of rows whose pair nobody knows. unread: columns and rows
    of a wire map that say nothing we can read."""
    taken = [f.source for f in frame.table.fields if f.source in frame.columns and f.to.table not in _OF_RECORDS]
    out = LostCells(frame, {name: frame.lost(name) for name in taken})
    for name, rows in unread:
        out.by[name] = out.by[name].copy()
        out.by[name][rows] = True
    return out


def _sizes(frame: RowFrame, cells: pa.Array) -> Ints:
    """How many cells of the source each cell of a column is: int64. Where frequencies are headings, a list is a row of
    cells, and in a tree (whose reader counts) a list of its own; elsewhere it was one cell."""
    if (frame.axis is None and frame.counts) or not pa.types.is_list(cells.type):
        return np.ones(len(cells), dtype=np.int64)
    items = cells.flatten()
    if not items.null_count:
        return np.asarray(pc.fill_null(pc.list_value_length(cells), 0), dtype=np.int64)
    inside = np.asarray(items.is_valid(), dtype=np.int64)
    ends = np.cumsum(np.asarray(pc.fill_null(pc.list_value_length(cells), 0), dtype=np.int64))
    sums = np.concatenate([[0], np.cumsum(inside)])
    sizes: Ints = sums[ends] - sums[np.concatenate([[0], ends[:-1]])]
    return sizes


def _texts(cells: pa.Array) -> pa.Array:
    if pa.types.is_list(cells.type):
        return pa.array(
            [None if c is None else " ".join(f"{v:g}" for v in c if v is not None) for c in cells.to_pylist()]
        )
    return numbers.text(cells)
