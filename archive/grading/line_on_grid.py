"""A limit line at the points of a grid."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from archive.grading.arithmetic import Ints, Reals
from archive.grading.coverage import SAME, Reach, shared_reach
from archive.grading.expressions import Grid
from archive.grading.graded_columns import confidence_codes
from archive.limits import Line


@dataclass(frozen=True)
class LineOnGrid:
    """A line at the points of a grid that lie in its range.

    columns: those points in the grid. frequencies, limits, confidences (codes): (points,). confidence: the least
    confident of them. reach: what the grid reaches of the line's range. bounded: points at which a cap or floor known
    only from memory applies; unbounded: the limit there without it (a value between the two passes by it alone).
    """

    columns: slice
    frequencies: Reals
    limits: Reals
    confidences: Ints
    reach: Reach
    bounded: Ints
    unbounded: Reals

    @property
    def confidence(self) -> int:
        return int(self.confidences.max(initial=0))


def lay_line(line: Line, grid: Grid) -> LineOnGrid:
    """Lays a limit line on a grid: evaluated once per axis, not per curve."""
    low, high = line.range_mhz
    f = grid.frequencies
    first, last = np.searchsorted(f, (low * (1 - SAME), high * (1 + SAME)))
    inside = np.clip(f[first:last], low, high)
    bounded = np.flatnonzero(line.bound_confidence_at(inside) == "C")
    return LineOnGrid(
        slice(int(first), int(last)),
        f[first:last],
        line.at(inside),
        confidence_codes(line.confidence_at(inside)),
        shared_reach(f, grid.parts, low, high),
        bounded,
        line.unbounded(inside[bounded]),
    )
