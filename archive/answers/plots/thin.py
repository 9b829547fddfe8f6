"""Thinning a curve to what a page can show, keeping the smallest and the largest value of every column of dots."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]


def thin(x: Array, y: Array, columns: int) -> tuple[Array, Array]:
    """A curve with at most four points per column of dots: first, smallest, largest, last.

    x: rising positions, shape (n,), already in the scale of the page; y: values, shape (n,), NaN where missing;
    columns: number of dots across. Returns the kept points, in order; a gap stays a gap.
    """
    if len(x) <= 4 * columns:
        return x, y
    span = x[-1] - x[0]
    column = np.minimum(((x - x[0]) / span * columns).astype(np.int64), columns - 1)
    starts = np.flatnonzero(np.r_[True, np.diff(column) > 0])
    ends = np.r_[starts[1:], len(x)]
    low = np.where(np.isnan(y), np.inf, y)
    high = np.where(np.isnan(y), -np.inf, y)
    kept: set[int] = set()
    for a, b in zip(starts, ends, strict=True):
        gap = np.flatnonzero(np.isnan(y[a:b]))
        kept.update((int(a), int(b - 1), int(a + low[a:b].argmin()), int(a + high[a:b].argmax())))
        if len(gap):
            kept.add(int(a + gap[0]))
    index = np.array(sorted(kept))
    return x[index], y[index]
