"""The curves of a batch as arrays, laid out once for grading, checks, comparison and pictures."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, TypeVar

import numpy as np
import numpy.typing as npt
import pyarrow as pa
import pyarrow.compute as pc

from archive.tables.arrow import ArrowColumn, Bools, Ints, Reals, Words, coded, one_chunk, reals, rows_of

if TYPE_CHECKING:
    from archive.tables.batch import Batch

BLOCK = 1 << 17
"""Points in one block: small enough to stay in the processor's cache between two passes."""

Scalar = TypeVar("Scalar", bound=np.generic)


@dataclass(frozen=True)
class CurveBlock:
    """Curves over one frequency axis. rows: (n,) rows of the sweeps table; records: (n,) rows of the records table;
    mhz: (m,); values: (n, m) in the unit of the parameter, NaN where a point is missing. Do not write into values: it
    may be the batch itself."""

    rows: Ints
    records: Ints
    mhz: Reals
    values: Reals


class CurveArrays:
    """The sweeps table of a batch as arrays. "Row" is a row of that table; a curve is one row.

    count: number of rows. records: number of records of the batch. start, length: (count,) where a curve begins in
    `flat`, and how many points it has. Everything else is worked out when it is first asked for, and kept. Do not
    write into the arrays: they may be the batch itself. Batch.curves holds the one instance of a batch.
    """

    def __init__(self, batch: Batch) -> None:
        self._sweeps, self._axes = batch["sweeps"], batch["axes"]
        self._ids = batch["records"].column("record_id")
        self._lists = one_chunk(self._sweeps.column("values"))
        offsets = self._lists.offsets.to_numpy().astype(np.int64)
        self.count, self.records = len(self._lists), len(batch)
        self.start: Ints = offsets[:-1] - offsets[:1]
        self.length: Ints = np.diff(offsets)
        self._codes: dict[str, tuple[list[str], Ints]] = {}

    @cached_property
    def _points(self) -> pa.Array:
        """Every value of every curve, null where a point is missing."""
        first = self._lists.offsets[0].as_py() if self.count else 0
        return self._lists.values.slice(first, int(self.length.sum()))

    @cached_property
    def flat(self) -> Reals:
        """Every value of every curve, one curve after the other: (points,), NaN where a point is missing."""
        return reals(self._points)

    @cached_property
    def record(self) -> Ints:
        """Row of the records table of each curve: (count,), -1 where there is none."""
        return rows_of(self._sweeps.column("record_id"), self._ids)

    # Words and numbers beside the values

    def coded(self, column: str) -> tuple[list[str], Ints]:
        """A text column as its distinct words, in the order of their first appearance, and a code per row; -1: null."""
        if column not in self._codes:
            self._codes[column] = coded(self._sweeps.column(column))
        return self._codes[column]

    def words(self, column: str, rows: Ints | None = None) -> Words:
        """Words of a text column for some rows (or all), "" where null."""
        names, codes = self.coded(column)
        return np.array([*names, ""], dtype=object)[codes if rows is None else codes[rows]]

    def mask(self, column: str, *wanted: str) -> Bools:
        """True for curves that have one of the wanted words in a text column: (count,). "" is no word."""
        names, codes = self.coded(column)
        return np.array([*(name in wanted for name in names), False], np.bool_)[codes]

    @cached_property
    def step(self) -> Reals:
        """Resolution that the source gives, in the unit of the values: (count,), NaN where it gives none."""
        return reals(self._sweeps.column("step"))

    # Axes

    @cached_property
    def axes(self) -> list[Reals]:
        """Points of each row of the axes table, in MHz or km; empty where it has neither."""
        lists = pc.coalesce(self._axes.column("frequencies_mhz"), self._axes.column("distances_km"))
        return [reals(x.values) if x.is_valid else np.zeros(0) for x in one_chunk(lists)]

    @cached_property
    def axes_mhz(self) -> list[Reals]:
        """The same for axes over frequency only; an axis over distance is empty."""
        valid = one_chunk(self._axes.column("frequencies_mhz").is_valid()).to_pylist()
        return [points if is_mhz else np.zeros(0) for points, is_mhz in zip(self.axes, valid, strict=True)]

    @cached_property
    def axis(self) -> Ints:
        """Row of the axes table of each curve: (count,), -1 where there is none."""
        return rows_of(self._sweeps.column("axis_id"), self._axes.column("axis_id"))

    @cached_property
    def fits(self) -> Bools:
        """True for curves of a record of this batch with one value per point of an axis: (count,)."""
        return self._fits(self.axes)

    @cached_property
    def fits_mhz(self) -> Bools:
        """True for curves of a record of this batch with one value per frequency: (count,)."""
        return self._fits(self.axes_mhz)

    def _fits(self, axes: list[Reals]) -> Bools:
        points = np.array([*(len(x) for x in axes), 0], np.int64)
        return np.asarray((self.record >= 0) & (self.length > 0) & (points[self.axis] == self.length))

    # Bounds and missing points

    @cached_property
    def above(self) -> Bools | None:
        """True for values of `flat` of which the source says only "more than": (points,). None: no such value."""
        return self._flags(self._sweeps.column("above"))

    @cached_property
    def below(self) -> Bools | None:
        """True for values of `flat` of which the source says only "less than": (points,). None: no such value."""
        return self._flags(self._sweeps.column("below"))

    def _flags(self, column: ArrowColumn) -> Bools | None:
        lists = one_chunk(column)
        points = lists.flatten().to_numpy(zero_copy_only=False)
        if not len(points):
            return None
        row = pc.list_parent_indices(lists).to_numpy()
        inside = (points >= 0) & (points < self.length[row])
        flags = np.zeros(len(self.flat), np.bool_)
        flags[self.start[row[inside]] + points[inside].astype(np.int64)] = True
        return flags

    @cached_property
    def bounded(self) -> Bools:
        """True for curves of which some points are known only as a bound: (count,)."""
        out = np.zeros(self.count, np.bool_)
        for flags in (self.above, self.below):
            if flags is not None:
                out |= self.any_point(flags)
        return out

    @cached_property
    def doubtful(self) -> Bools:
        """True for curves of which some point is missing or known only as a bound: (count,)."""
        if not self._points.null_count:
            return self.bounded
        return np.asarray(self.bounded | self.any_point(np.isnan(self.flat)))

    @cached_property
    def has_nan(self) -> Bools:
        """True for curves that hold a NaN which is no missing point (null): (count,)."""
        is_nan = pc.is_nan(self._points)
        if not pc.any(is_nan).as_py():
            return np.zeros(self.count, np.bool_)
        return self.any_point(pc.fill_null(is_nan, False).to_numpy(zero_copy_only=False))

    @cached_property
    def exact(self) -> Reals:
        """`flat` with NaN also where a value is only a bound: (points,)."""
        flags = [f for f in (self.above, self.below) if f is not None]
        return np.where(np.logical_or.reduce(flags), np.nan, self.flat) if flags else self.flat

    def any_point(self, flags: Bools) -> Bools:
        """Is any point of a curve flagged: (count,). flags: (points,)."""
        counts = np.concatenate(([0], np.cumsum(flags, dtype=np.int64)))
        return np.asarray(counts[self.start + self.length] > counts[self.start])

    # Curves by row

    def values(self, row: int) -> Reals:
        """Values of one curve: (length,), NaN where a point is missing."""
        return self.flat[self.span(row)]

    def span(self, row: int) -> slice:
        """Where one curve lies in `flat`, `exact`, `above` and `below`."""
        return slice(int(self.start[row]), int(self.start[row] + self.length[row]))

    def matrix(self, rows: Ints, points: int, first: int = 0) -> Reals:
        """Values of curves by row, (..., points) from point `first` of each; rows: (...). A view where it can be."""
        return windows(self.flat, self.start[rows] + first, points)

    def of(self, *parameters: str, end: str | None = None, origin: str = "measured") -> Ints:
        """Rows of curves over frequency that fit their axis, of some parameters."""
        wanted = self.mask("parameter", *parameters) & self.mask("origin", origin) & self.fits_mhz
        return np.flatnonzero(wanted if end is None else wanted & self.mask("end", end))

    def blocks(self, rows: Ints, most: int = BLOCK) -> Iterator[CurveBlock]:
        """Some curves over frequency in blocks that share an axis, each of at most `most` points (or one curve).

        Curves that do not fit their axis are left out.
        """
        for axis in np.unique(self.axis[rows]).tolist():
            mhz = self.axes_mhz[axis] if axis >= 0 else np.zeros(0)
            if not len(mhz):
                continue
            same = rows[(self.axis[rows] == axis) & (self.length[rows] == len(mhz))]
            height = max(1, most // len(mhz))
            for start in range(0, len(same), height):
                part = same[start : start + height]
                yield CurveBlock(part, self.record[part], mhz, self.matrix(part, len(mhz)))


def windows(flat: npt.NDArray[Scalar], begin: Ints, points: int) -> npt.NDArray[Scalar]:
    """Runs of `points` items of a flat array that start at `begin` (...): (..., points).

    Where they start in even steps, as in exports that list the curves of every record in the same order, the result
    is a read-only view that copies nothing. Errors: IndexError where a run leaves the array.
    """
    if not begin.size or not points:
        return np.zeros((*begin.shape, points), flat.dtype)
    if begin.min() < 0 or begin.max() + points > len(flat):
        raise IndexError("a run of points leaves the array")
    first = int(begin.flat[0])
    steps = [int(begin.take(1, axis).flat[0]) - first if n > 1 else 0 for axis, n in enumerate(begin.shape)]
    even = sum(np.ix_(*(np.arange(n) * step for n, step in zip(begin.shape, steps, strict=True))), np.int64(first))
    if min(steps, default=0) >= 0 and np.array_equal(even, begin):
        strides = (*(flat.itemsize * step for step in steps), flat.itemsize)
        return np.lib.stride_tricks.as_strided(flat[first:], (*begin.shape, points), strides, writeable=False)
    return np.asarray(np.lib.stride_tricks.sliding_window_view(flat, points)[begin])
