"""RowFrame: rows of one table of a mapping, as columns, each row with its record and its place."""

from __future__ import annotations

from collections.abc import Callable, Collection, Sequence
from dataclasses import dataclass, field, replace
from functools import partial
from itertools import count
from pathlib import Path

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from archive.formats.base import words
from archive.formats.base.numbers import Change, text
from archive.formats.mapping.model import SourceField, SourceTable
from archive.formats.mapping.parts import taken_apart
from archive.tables.arrow import Bools, Ints, Reals

_NUMBERS = count()


def new_cell() -> int:
    """A number that no other cell of a source has."""
    return next(_NUMBERS)


@dataclass
class RowFrame:
    """Rows of one table, n of them.

    columns: Arrow arrays (text, a dictionary of text, float64, or lists of float64) by the name of their source; a
    null is a cell that is not there. record: int64, the record of each row within the batch, not falling. place:
    int64, number of each row in the file, or None where the records' own place says enough. noun: what it counts.
    """

    table: SourceTable
    columns: dict[str, pa.Array]
    record: Ints
    place: Ints | None = None
    noun: str = "row"
    axis: Reals | None = None
    """Frequencies in MHz of the lists in its cells, where the headings gave them."""
    counts: bool = True
    """Whether its cells are counted by the builder."""
    shared: bool = False
    """One row of cells that hold for all records, repeated for each: counted once, and only where `counts`."""
    uncounted: frozenset[str] = frozenset()
    """Columns whose cells are counted elsewhere: labels of a block that are repeated for its rows."""
    above: dict[str, Ints] = field(default_factory=dict)
    """Of columns whose cells several rows share, such as "../pair", which cell each row has: int64, a number
    of its own for each cell, see new_cell; -1 where the cell was counted in an earlier frame."""
    source: str = ""
    """source_id of its file, where it is not that of the records."""
    repeats: bool = True
    """Whether a key that is left blank repeats the one above, as people write tables."""
    fed: dict[str, Bools] = field(default_factory=dict, init=False)
    """Of columns that rows of the tables were made of, which cells: boolean array over the rows. See `feed`."""
    keyed: set[str] = field(default_factory=set, init=False)
    """Columns that say what such rows are of, such as the pair."""
    part_of: tuple[RowFrame, Ints] | None = field(default=None, init=False)
    """The frame that these are some rows of, and which."""
    changes: dict[str, set[Change]] = field(default_factory=dict, init=False)
    """What converting did to the numbers of its columns."""

    def __post_init__(self) -> None:
        self.take_apart()

    def take_apart(self) -> None:
        """Gives the parts of cells that hold several values columns of their own, beside that of the whole cell."""
        for cell, fields in self.table.parted.items():
            if cell not in self.columns or fields[0].source in self.columns:
                continue
            whole = self.columns[cell]
            for f in fields:
                self.columns[f.source] = part_of(f, whole)
            names = frozenset(f.source for f in fields)
            if cell in self.uncounted or (self.shared and not self.counts):
                self.uncounted |= names
                continue
            of = np.array([new_cell() for _ in range(1 if self.shared else self.rows)], dtype=np.int64)
            self.share(cell, self.above.get(cell, np.resize(of, self.rows)))
            self.uncounted |= {cell}

    def share(self, name: str, cell: Ints) -> None:
        """Says which cell of the source each row of a column has, and of what is a part of it; see `above`."""
        self.above[name] = cell
        for f in self.table.parted.get(name, ()):
            self.above[f.source] = cell

    def misfits(self, cell: str) -> Bools:
        """Which cells of a column of several values fit no pattern: boolean array over the rows."""
        out = valid(self.columns[cell])
        for f in self.table.parted[cell]:
            out &= ~valid(self.columns[f.source])
        return out

    @property
    def rows(self) -> int:
        """Number of rows."""
        return len(self.record)

    def cells(self, name: str) -> Ints | None:
        """Which cell of the source each row of a column has, as in `above`; None where each row has its own."""
        if name in self.uncounted or (self.shared and not self.counts):
            return np.full(self.rows, -1, dtype=np.int64)
        if self.shared and name not in self.above:
            self.above[name] = np.full(self.rows, new_cell(), dtype=np.int64)
        return self.above.get(name)

    def feed(self, name: str, rows: Ints | Bools | None = None) -> None:
        """Cells of a column arrived in a table, or say nothing where they would have. rows: which; None for all."""
        if self.part_of is not None:
            whole, at = self.part_of
            whole.feed(name, at if rows is None else at[rows])
            return
        if name not in self.fed:
            self.fed[name] = np.zeros(self.rows, dtype=bool)
        self.fed[name][slice(None) if rows is None else rows] = True

    def lost(self, name: str) -> Bools:
        """Which cells of a column reached no table: boolean array over the rows. A cell that says what its row is of
        arrived where any cell of its row did."""
        if name in self.fed:
            return ~self.fed[name]
        out = np.ones(self.rows, dtype=bool)
        if name in self.keyed:
            for fed in self.fed.values():
                out &= ~fed
        return out

    def arrived(self, name: str) -> bool:
        """Whether any cell of a column reached a table."""
        return not self.lost(name).all()

    def note(self, name: str, changes: Collection[Change]) -> None:
        """What converting did to the numbers of a column."""
        if changes:
            self.changes.setdefault(name, set()).update(changes)

    def where(self, rows: Ints) -> pa.Array:
        """Places of some rows as Arrow text, or nulls."""
        if self.place is None:
            return pa.nulls(len(rows), pa.string())
        return pc.binary_join_element_wise(self.noun, pc.cast(pa.array(self.place[rows]), pa.string()), " ")

    def only(self, rows: Ints) -> RowFrame:
        """Some of its rows, as an int64 array of positions."""
        at = pa.array(rows)
        columns = {k: c.take(at) for k, c in self.columns.items()}
        place = None if self.place is None else self.place[rows]
        above = {k: v[rows] for k, v in self.above.items()}
        part = replace(self, columns=columns, record=self.record[rows], place=place, above=above)
        # What is learned of these rows is learned of the frame.
        whole, base = self.part_of or (self, None)
        part.part_of, part.keyed, part.changes = (whole, rows if base is None else base[rows]), self.keyed, self.changes
        return part


def part_of(f: SourceField, cells: pa.Array) -> pa.Array:
    """A part of each cell of a column, as Arrow text."""
    return mapped(text(cells), partial(_part, f))


def _part(f: SourceField, cell: str) -> str | None:
    """A part of a cell. A word for no value is one in each part."""
    if cell.strip().casefold() in words.empties():
        return cell
    found = taken_apart(cell, f.pattern)
    return None if found is None else found.get(f.part) or None


def named(frame: RowFrame, file: Path) -> RowFrame:
    """With a column of the file's name, without or with its ending, where the mapping asks for one."""
    for source, name in (("@file", file.stem), ("@filename", file.name)):
        if source in frame.table.cells:
            frame.columns[source] = pa.repeat(pa.scalar(name), frame.rows)
            frame.uncounted |= {source}
            frame.take_apart()
    return frame


def say_of_rows(frames: Sequence[RowFrame], records: int) -> None:
    """Gives the rows of each table what labels that stand once for a record say of them, such as a pair or an axis.
    What a table says itself stands before it."""
    for labels in frames:
        one_each = labels.table.rows == "labels" and labels.rows == records
        of_row = tuple(f for f in labels.table.fields if f.to.table == "row" and f.source in labels.columns)
        if one_each and of_row and (labels.record == np.arange(records)).all():
            for frame in frames:
                if frame.table.rows not in ("labels", "axes") and frame.rows:
                    say_rows(frame, labels, of_row)


def say_rows(frame: RowFrame, labels: RowFrame, of_row: tuple[SourceField, ...]) -> None:
    """Gives the rows of a frame what the labels of their record, or of their part of it, say of them. of_row: fields of
    the labels."""
    missing = tuple(f for f in of_row if f.source not in frame.columns)
    for f in missing:
        labels.feed(f.source)
        frame.columns[f.source] = labels.columns[f.source].take(pa.array(frame.record))
    frame.table = replace(frame.table, fields=(*frame.table.fields, *missing))
    frame.uncounted |= {f.source for f in missing}


@dataclass
class Problem:
    """Why one record is set aside."""

    place: str
    reason: str
    found: str = ""
    expected: str = ""
    remedy: str = ""


@dataclass
class Problems:
    """The first problem of each record of a batch."""

    of: dict[int, Problem] = field(default_factory=dict)

    def add(self, record: int, problem: Problem) -> None:
        """Sets a record aside, where it is not already."""
        self.of.setdefault(int(record), problem)

    def cells(self, frame: RowFrame, name: str, bad: Bools, expected: str) -> None:
        """Sets aside the records of the bad cells of a column. bad: boolean array over the frame's rows."""
        at = np.flatnonzero(bad)
        if not len(at):
            return
        _, first = np.unique(frame.record[at], return_index=True)
        for i in at[first].tolist():
            place = "" if frame.place is None else f"{frame.noun} {frame.place[i]}, "
            cell = frame.columns[name][i].as_py()
            found = f"{cell!r}"[:80]
            self.add(int(frame.record[i]), Problem(f"{place}{name}", UNREADABLE, found, expected, HOW_IT_IS_WRITTEN))

    def good(self, n: int) -> Bools:
        """Boolean array over n records: not set aside."""
        out = np.ones(n, dtype=bool)
        if self.of:
            out[list(self.of)] = False
        return out


UNREADABLE = "a cell that cannot be read"
HOW_IT_IS_WRITTEN = "if it says something, let the mapping say how it is written (unit, decimal, format, empty, words)"
"""What to do about a cell that cannot be read."""


def encoded(cells: pa.Array) -> pa.DictionaryArray:
    """A column of text as an Arrow dictionary array."""
    if pa.types.is_dictionary(cells.type):
        return cells
    if pa.types.is_null(cells.type):
        cells = cells.cast(pa.string())
    if pa.types.is_floating(cells.type):
        cells = pc.cast(cells, pa.string())
    return cells.dictionary_encode()


def mapped(cells: pa.Array, function: Callable[[str], str | None]) -> pa.Array:
    """A column of text with a function of text applied to each distinct cell: Arrow text, null where it gives None."""
    coded = encoded(cells)
    if not len(coded.dictionary):
        return pa.nulls(len(coded), pa.string())
    words = pa.array([None if w is None else function(w) for w in coded.dictionary.to_pylist()], type=pa.string())
    return words.take(coded.indices)


def codes(cells: pa.Array) -> Ints:
    """Codes of a column of text: int64, -1 where there is no cell; equal cells have equal codes."""
    coded = encoded(cells)
    return np.asarray(pc.fill_null(coded.indices, -1).to_numpy(zero_copy_only=False), dtype=np.int64)


def one_code(code: Ints, *more: Ints) -> Ints:
    """One code for each row: equal where all codes are. code, more: int64 from -1, one for each row."""
    out = code.astype(np.int64)
    for other in more:
        out = out * (int(other.max(initial=0)) + 2) + other + 1
    return out


def run_starts(code: Ints) -> Ints:
    """Rows at which a run of equal codes begins."""
    if not len(code):
        return np.zeros(0, dtype=np.int64)
    return np.concatenate([[0], np.flatnonzero(code[1:] != code[:-1]) + 1])


def valid(cells: pa.Array) -> Bools:
    """Boolean array: a cell is there (blank text is none)."""
    if cells.null_count == 0 and pa.types.is_floating(cells.type):
        return np.ones(len(cells), dtype=bool)
    return np.asarray(cells.is_valid())
