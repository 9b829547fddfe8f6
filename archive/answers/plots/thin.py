"""Thinning a curve to what a page can show, keeping the smallest and the largest value of every column of dots."""

from __future__ import annotations

import numpy as np

from archive.answers.plots.scale import Array


def thin(x: Array, y: Array, columns: int) -> tuple[Array, Array]:
    """A curve with at most a handful of points per column of dots: first, smallest, largest, last, first of a gap.

    x: rising positions, shape (n,), already in the scale of the page; y: values, shape (n,), NaN where missing;
    columns: number of dots across. Returns the kept points, in order; a gap stays a gap.
    """
    if len(x) <= 4 * columns:
        return x, y
    column = np.minimum(((x - x[0]) / (x[-1] - x[0]) * columns).astype(np.int64), columns - 1)
    starts = np.flatnonzero(np.r_[True, np.diff(column) > 0])
    ends = np.r_[starts[1:], len(x)]
    keep = np.zeros(len(x), np.bool_)
    keep[starts] = keep[ends - 1] = True
    missing = np.isnan(y)
    filled = np.where(missing, np.inf, y)
    run = np.repeat(np.arange(len(starts)), ends - starts)
    order = np.lexsort((filled, run))  # by column, smallest value first
    keep[order[starts]] = True
    order = np.lexsort((np.where(missing, np.inf, -y), run))
    keep[order[starts]] = True
    if missing.any():
        gaps = np.flatnonzero(missing)
        keep[gaps[np.r_[True, np.diff(run[gaps]) > 0]]] = True
    return x[keep], y[keep]
