"""The curves of a batch as numpy arrays: by parameter, end and pairing, in blocks that share an axis."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from archive import vocabulary
from archive.tables import Batch
from archive.tables.arrow import whole
from archive.validation.look.arrays import Mask, Reals, Rows, Words

BLOCK = 1 << 17
"""ReportedPoints in one block: small enough to stay in the processor's cache between two passes."""


@dataclass(frozen=True)
class CurveBlock:
    """CurveView on one axis. at: rows of the sweeps table; rows: rows of the records table; mhz: (m,); values: (n, m) in
    the unit of the parameter, NaN where a point is missing. Do not write into values: it may be the batch itself."""

    at: Rows
    rows: Rows
    mhz: Reals
    values: Reals


@dataclass(frozen=True)
class CurveStats:
    """Per curve, over the rows of the sweeps table: points, missing points, smallest and largest value (NaN where
    there is none), whether all values are finite or missing."""

    points: Rows
    missing: Rows
    low: Reals
    high: Reals
    finite: Mask


class CurveView:
    """All curves over frequency of a batch.

    rows: row of the records table per curve (-1: none). first_mhz, last_mhz: ends of the axis, NaN where the axis is
    not there or not over frequency. points: number of values.
    """

    def __init__(self, batch: Batch, rows: Rows, size: int) -> None:
        self.rows, self.size = rows, size
        table = batch["sweeps"]
        self._words = {name: _encode(table.column(name)) for name in ("parameter", "end", "pairing", "origin")}
        self._table, self.count = table, table.num_rows
        values = whole(table.column("values"))
        self._lists = values
        self.starts = values.offsets.to_numpy()[:-1].astype(np.int64) if self.count else np.zeros(0, np.int64)
        self.points = pc.list_value_length(values).to_numpy(zero_copy_only=False).astype(np.int64)
        self._axes(batch, table)
        self.present = np.zeros(size, dtype=bool)
        self.present[rows[(rows >= 0) & ~np.isnan(self.first_mhz)]] = True

    def _axes(self, batch: Batch, table: pa.Table) -> None:
        axes = batch["axes"]
        named = pc.index_in(table.column("axis_id"), value_set=whole(axes.column("axis_id")))
        self.axis = pc.fill_null(named, -1).to_numpy().astype(np.int64)
        lists = whole(axes.column("frequencies_mhz"))
        self.axes_mhz = [np.asarray(x.values) if x.is_valid else np.zeros(0) for x in lists]
        lengths = np.array([len(x) for x in self.axes_mhz] + [0])
        first = np.array([x[0] if len(x) else np.nan for x in self.axes_mhz] + [np.nan])
        last = np.array([x[-1] if len(x) else np.nan for x in self.axes_mhz] + [np.nan])
        self.axis_points, self.first_mhz, self.last_mhz = lengths[self.axis], first[self.axis], last[self.axis]

    @cached_property
    def flat(self) -> Reals:
        """All values one after another, float64, NaN where missing; starts says where a curve begins."""
        return self._lists.values.to_numpy(zero_copy_only=False)

    def word(self, column: str, at: Rows) -> Words:
        """Words of parameter, end, pairing or origin for rows of the sweeps table, "" where null."""
        codes, names = self._words[column]
        return names[codes[at]]

    def mask(self, column: str, *wanted: str) -> Mask:
        """True for curves whose parameter, end, pairing or origin is one of the words."""
        codes, names = self._words[column]
        return np.array([n in wanted for n in names], dtype=bool)[codes]

    @cached_property
    def is_measured(self) -> Mask:
        """True for measured curves of a record of this batch that fit their axis."""
        return self.mask("origin", "measured") & self.fits

    @cached_property
    def fits(self) -> Mask:
        """True for curves of a record of this batch with one value per frequency."""
        return (self.rows >= 0) & (self.points == self.axis_points) & (self.points > 0)

    def of(self, *parameters: str, end: str | None = None, origin: str = "measured") -> Rows:
        """Rows of the sweeps table of usable curves of some parameters."""
        wanted = self.mask("parameter", *parameters) & self.mask("origin", origin) & self.fits
        if end is not None:
            wanted &= self.mask("end", end)
        return np.flatnonzero(wanted)

    def blocks(self, at: Rows, most: int = BLOCK) -> Iterator[CurveBlock]:
        """The named curves in blocks that share an axis, each of at most `most` points (or one curve)."""
        for axis in np.unique(self.axis[at]) if len(at) else ():
            if axis < 0:
                continue
            mhz = self.axes_mhz[axis]
            same = at[(self.axis[at] == axis) & (self.points[at] == len(mhz))]
            height = max(1, most // max(1, len(mhz)))
            for start in range(0, len(same), height):
                part = same[start : start + height]
                yield CurveBlock(part, self.rows[part], mhz, self.matrix(part, len(mhz)))

    def matrix(self, at: Rows, points: int) -> Reals:
        """Values of curves of equal length, (n, points). A view where the curves stand one after another."""
        starts = self.starts[at]
        if len(starts) and (np.diff(starts) == points).all():
            return self.flat[starts[0] : starts[0] + len(starts) * points].reshape(len(starts), points)
        return np.stack([self.flat[s : s + points] for s in starts]) if len(starts) else np.zeros((0, points))

    @cached_property
    def stats(self) -> CurveStats:
        """Smallest, largest and missing values of all curves, in one pass."""
        low, high = np.full(self.count, np.nan), np.full(self.count, np.nan)
        missing, finite = np.zeros(self.count, dtype=np.int64), np.ones(self.count, dtype=bool)
        everything = np.flatnonzero(self.points > 0)
        for at, values in self._by_length(everything):
            lows, highs = values.min(axis=1), values.max(axis=1)
            holes = np.isnan(lows)
            if holes.any():
                part = values[holes]
                gone = np.isnan(part)
                missing[at[holes]] = gone.sum(axis=1)
                lows[holes] = np.fmin.reduce(part, axis=1)
                highs[holes] = np.fmax.reduce(part, axis=1)
            finite[at] = ~(np.isinf(lows) | np.isinf(highs))
            low[at], high[at] = lows, highs
        return CurveStats(self.points, missing, low, high, finite)

    @cached_property
    def nulls(self) -> int:
        """Number of missing values as the tables mark them."""
        return int(self._lists.values.null_count) if self.count else 0

    @cached_property
    def has_nan(self) -> Mask:
        """True for curves that hold a NaN which is no null."""
        values = self._lists.values
        at = np.flatnonzero(pc.fill_null(pc.is_nan(values), False).to_numpy(zero_copy_only=False))
        out = np.zeros(self.count, dtype=bool)
        out[np.searchsorted(self.starts, at, side="right") - 1] = True
        return out

    def bounded(self, at: Rows) -> Mask:
        """True for curves of which the source gives some points only as bounds (more than, less than)."""
        return self._bounded[at]

    @cached_property
    def _bounded(self) -> Mask:
        marks = [pc.fill_null(pc.list_value_length(self._table.column(c)), 0) for c in ("above", "below")]
        return pc.greater(pc.add(*marks), 0).to_numpy().astype(bool)

    def _by_length(self, at: Rows) -> Iterator[tuple[Rows, Reals]]:
        lengths = self.points[at]
        for points in np.unique(lengths):
            same = at[lengths == points]
            height = max(1, BLOCK // int(points))
            for start in range(0, len(same), height):
                part = same[start : start + height]
                yield part, self.matrix(part, int(points))

    def places(self, at: Rows) -> list[str]:
        """CurveView by name, for findings: NEXT local 1-2/3-6."""
        parts = [named(self.word("parameter", at)), *(self.word(c, at) for c in ("end", "pairing"))]
        return [" ".join(p for p in three if p) for three in zip(*parts, strict=True)]


def named(parameters: Iterable[str]) -> list[str]:
    """Ids of parameters in the words of the trade, for findings: PS NEXT for ps_next."""
    known = vocabulary.parameters()
    return [known[p].name if p in known else p for p in parameters]


def _encode(column: pa.ChunkedArray) -> tuple[Rows, Words]:
    """A text column as codes and the object array of its words; null is ""."""
    encoded = whole(pc.fill_null(column, "")).dictionary_encode()
    return encoded.indices.to_numpy(zero_copy_only=False), encoded.dictionary.to_numpy(zero_copy_only=False).astype(
        object
    )
