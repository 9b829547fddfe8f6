"""What rules need of the curves of a batch beside their arrays: smallest and largest values, names, blocks."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

import numpy as np

from archive import vocabulary
from archive.tables.arrow import Bools, Ints, Reals
from archive.tables.curves import BLOCK, CurveArrays


@dataclass(frozen=True)
class CurveStats:
    """Per curve, over the rows of the sweeps table: missing points, smallest and largest value (NaN where there is
    none) in the unit of the parameter, whether all values are finite or missing."""

    missing: Ints
    low: Reals
    high: Reals
    finite: Bools


def stats(curves: CurveArrays) -> CurveStats:
    """Smallest, largest and missing values of all curves, in one pass."""
    low, high = np.full(curves.count, np.nan), np.full(curves.count, np.nan)
    missing, finite = np.zeros(curves.count, dtype=np.int64), np.ones(curves.count, dtype=bool)
    for points in np.unique(curves.length[curves.length > 0]).tolist():
        for at in in_blocks(np.flatnonzero(curves.length == points), points):
            values = curves.matrix(at, points)
            lows, highs = values.min(axis=1), values.max(axis=1)
            holes = np.isnan(lows)
            if holes.any():
                part = values[holes]
                missing[at[holes]] = np.isnan(part).sum(axis=1)
                lows[holes], highs[holes] = np.fmin.reduce(part, axis=1), np.fmax.reduce(part, axis=1)
            finite[at] = ~(np.isinf(lows) | np.isinf(highs))
            low[at], high[at] = lows, highs
    return CurveStats(missing, low, high, finite)


def in_blocks(rows: Ints, points: int) -> Iterator[Ints]:
    """Rows (n, ...) of curves of so many points, in parts of at most BLOCK points (or one curve)."""
    height = max(1, BLOCK // max(1, points))
    for start in range(0, len(rows), height):
        yield rows[start : start + height]


def axis_ends(curves: CurveArrays) -> tuple[Reals, Reals, Ints]:
    """Of each curve the first and the last frequency of its axis in MHz (NaN where it has none over frequency) and
    the number of frequencies: (count,) each."""
    ends = [(x[0], x[-1], len(x)) if len(x) else (np.nan, np.nan, 0) for x in curves.axes_mhz]
    first, last, points = np.array([*ends, (np.nan, np.nan, 0)]).T[:, curves.axis]
    return first, last, points.astype(np.int64)


def places(curves: CurveArrays, rows: Ints) -> list[str]:
    """Curves by name, for findings: NEXT local 1-2/3-6."""
    return curve_names(*(curves.words(c, rows) for c in ("parameter", "end", "pairing")))


def curve_names(parameters: Iterable[str], ends: Iterable[str], pairings: Iterable[str]) -> list[str]:
    """Parameter (in the words of the trade: PS NEXT for ps_next), end and pairing side by side."""
    known = vocabulary.parameters()
    names = (known[p].name if p in known else p for p in parameters)
    return [" ".join(part for part in each if part) for each in zip(names, ends, pairings, strict=True)]
