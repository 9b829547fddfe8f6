"""The curves of a batch as arrays: where each begins in one flat array, and the slot that it fills."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from archive import vocabulary
from archive.grading.arithmetic import Bools, Ints, Reals, Values
from archive.tables import Batch

ENDS = ("local", "remote", None)
"""Ends by code. The third: the source does not say, or the parameter has none."""

PAIRINGS: tuple[str | None, ...] = (*vocabulary.PAIRS, *vocabulary.ORDERED, None)
"""Pairs and combinations by code; a combination of NEXT has the code of its lower-first form. The last: the link."""

WHOLE_LINK = len(PAIRINGS) - 1
_CODE = {name: code for code, name in enumerate(PAIRINGS)}
ORIGINS = ("measured", "derived", "rebuilt", "limit")
RECOMPUTED = " (recomputed)"
"""Marks alien power sums that archive.grading.alien lays beside those of the export."""
FAR_END = frozenset({"fext", "acr_f", "elfext", "afext", "aacr_f", "ps_fext", "ps_acr_f", "ps_elfext", "ps_aacr_f"})


def parameter_of(name: str) -> vocabulary.Parameter:
    """The parameter of a curve. Errors: KeyError."""
    return vocabulary.parameter(name.removesuffix(RECOMPUTED))


def pairing_code(name: str | None, per: str) -> int:
    """Code of a pairing for a parameter taken per pair, combination, ordered combination or link; -1 for any other."""
    if per == "link" or name is None:
        return WHOLE_LINK if per == "link" and name is None else -1
    if per == "combination":
        name = lower_first(name)
    return _CODE.get(name, -1) if name in vocabulary.pairings(per) else -1


def lower_first(name: str) -> str:
    """A combination of NEXT in the form whose lower pair comes first; any other name as it is."""
    turned = "/".join(reversed(name.split("/")))
    return turned if turned in vocabulary.COMBINATIONS else name


def pairing_codes(per: str) -> Ints:
    """All codes that a parameter taken per pair, combination, ordered combination or link can have."""
    names = vocabulary.pairings(per) or ((None,) if per == "link" else ())
    return np.array([_CODE[name] for name in names], np.int64)


@dataclass(frozen=True)
class Axis:
    """One frequency axis. frequencies: (points,), MHz, strictly rising."""

    code: int
    frequencies: Reals


class Curves:
    """The sweeps of a batch.

    flat: every value of every curve, one after the other; NaN where a point is missing. Per row of the table:
    start and length in flat, record (its place in the batch), parameter, end, pairing, origin (codes), axis
    (its place in axes, -1 where the row cannot be used), step (NaN where unknown), doubtful (some point is
    missing or known only as a bound).
    """

    def __init__(self, batch: Batch) -> None:
        table = batch["sweeps"]
        self.records = len(batch)
        self.rows = int(table.num_rows)
        values = one_chunk(table.column("values"))
        offsets = values.offsets.to_numpy().astype(np.int64)
        first = int(offsets[0]) if len(offsets) else 0
        inner = values.flatten()
        missing = inner.null_count > 0
        self.flat: Reals = inner.to_numpy(zero_copy_only=False)
        self.start: Ints = offsets[:-1] - first
        self.length: Ints = np.diff(offsets)
        self.record: Ints = places(table.column("record_id"), batch["records"].column("record_id"))
        self.parameters, self.parameter = codes(table.column("parameter"))
        self.end: Ints = self._ends(table)
        self.pairing_names, self.pairing_text = codes(table.column("pairing"))
        self.origin: Ints = places(table.column("origin"), pa.array(ORIGINS, pa.string()))
        self.step: Reals = table.column("step").to_numpy(zero_copy_only=False).astype(np.float64)
        self.disturbed: Bools = np.asarray(table.column("disturber").is_valid())
        self.axes, self.axis = self._axes(batch)
        self.above = self._marks(table.column("above"))
        self.below = self._marks(table.column("below"))
        self.doubtful: Bools = np.zeros(self.rows, np.bool_)
        if missing:
            self.doubtful |= self._any(np.isnan(self.flat))
        for marks in (self.above, self.below):
            if marks is not None:
                self.doubtful |= self._any(marks)

    def _ends(self, table: Any) -> Ints:
        """Ends; where only the direction is there, the end at which that parameter is received."""
        end = places(table.column("end"), pa.array(ENDS[:2], pa.string()))
        direction = places(table.column("direction"), pa.array(("remote-local", "local-remote"), pa.string()))
        both = [parameter_of(name).ends for name in self.parameters]
        far = [name in FAR_END for name in self.parameters]
        if self.rows and (direction >= 0).any():
            taken = np.asarray(both)[self.parameter] & (end < 0) & (direction >= 0)
            received = np.where(np.asarray(far)[self.parameter], direction, 1 - direction)
            end = np.where(taken, received, end)
        return np.where(end < 0, 2, end)

    def _axes(self, batch: Batch) -> tuple[list[Axis], Ints]:
        table = batch["axes"]
        listed = one_chunk(table.column("frequencies_mhz"))
        axes = [
            Axis(
                i, np.asarray(cell.values.to_numpy(zero_copy_only=False), np.float64) if cell.is_valid else np.zeros(0)
            )
            for i, cell in enumerate(listed)
        ]
        axis = places(batch["sweeps"].column("axis_id"), table.column("axis_id"))
        points = np.array([len(a.frequencies) for a in axes] + [0])
        usable = (axis >= 0) & (self.length > 0) & (points[axis] == self.length)
        return axes, np.where(usable, axis, -1)

    def _marks(self, column: Any) -> Bools | None:
        """A flag per value of flat from lists of point numbers, or None where no list holds any."""
        lists = one_chunk(column)
        points = lists.flatten().to_numpy(zero_copy_only=False)
        if not len(points):
            return None
        row = pc.list_parent_indices(lists).to_numpy()
        inside = (points >= 0) & (points < self.length[row])
        marks = np.zeros(len(self.flat), np.bool_)
        marks[self.start[row[inside]] + points[inside]] = True
        return marks

    def _any(self, marks: Bools) -> Bools:
        """Per row: is any of its values marked."""
        ends = self.start + self.length
        counts = np.concatenate(([0], np.cumsum(marks, dtype=np.int64)))
        return np.asarray(counts[ends] > counts[self.start])

    @cached_property
    def pairing(self) -> Ints:
        """Codes of the pairings per row, in the sense of pairing_code."""
        table = np.full((len(self.parameters), len(self.pairing_names) + 1), -1)
        for i, parameter in enumerate(self.parameters):
            per = parameter_of(parameter).per
            for j, name in enumerate(self.pairing_names):
                table[i, j] = pairing_code(name, per)
        return table[self.parameter, self.pairing_text] if self.rows else np.zeros(0, np.int64)

    def gather(self, rows: Ints, first: int, points: int) -> Values:
        """Curves by row. rows: (...); returns (..., points), from point `first` of each."""
        if not points:
            return Values.exact(np.zeros((*rows.shape, 0)))
        begin = self.start[rows] + first
        values = _lattice(self.flat, begin, points)
        if values is None:
            values = _windows(self.flat, points)[begin]
        if not self.doubtful[rows].any():
            return Values.exact(values)
        nothing = np.zeros(values.shape, np.bool_)
        above = nothing if self.above is None else _windows(self.above, points)[begin]
        below = nothing if self.below is None else _windows(self.below, points)[begin]
        return Values.bounded(values, above, below)


def _windows(flat: Any, points: int) -> Any:
    """Every run of `points` values as a row, without copying."""
    return np.lib.stride_tricks.sliding_window_view(flat, points)


def _lattice(flat: Reals, begin: Ints, points: int) -> Reals | None:
    """Windows that begin in even steps, as a view that copies nothing; None where they do not.

    begin: (records, curves). Exports that list the curves of every record in the same order are laid out like this.
    """
    if begin.ndim != 2 or not begin.size:
        return None
    steps = [
        begin[1, 0] - begin[0, 0] if begin.shape[0] > 1 else 0,
        begin[0, 1] - begin[0, 0] if begin.shape[1] > 1 else 0,
    ]
    even = begin[0, 0] + np.arange(begin.shape[0])[:, None] * steps[0] + np.arange(begin.shape[1]) * steps[1]
    if min(steps) < 0 or not np.array_equal(even, begin):
        return None
    shape, strides = (*begin.shape, points), (8 * int(steps[0]), 8 * int(steps[1]), 8)
    return np.lib.stride_tricks.as_strided(flat[int(begin[0, 0]) :], shape, strides, writeable=False)


def one_chunk(column: Any) -> Any:
    if column.num_chunks == 1:
        return column.chunk(0)
    return column.combine_chunks() if column.num_chunks else pa.array([], type=column.type)


def places(column: Any, among: Any) -> Ints:
    """Place of each cell among others; -1 where it is null or not there."""
    if isinstance(among, pa.ChunkedArray):
        among = among.combine_chunks()
    found = pc.fill_null(pc.index_in(column, value_set=among, skip_nulls=True), -1)
    return np.asarray(found.to_numpy()).astype(np.int64)


def codes(column: Any) -> tuple[list[Any], Ints]:
    """Distinct values in the order of their first appearance, and the code of each cell; -1 for null."""
    encoded = one_chunk(column).dictionary_encode()
    codes = pc.fill_null(encoded.indices, -1).to_numpy().astype(np.int64)
    return encoded.dictionary.to_pylist(), codes
