"""A limit line laid on a grid, and the points that it leaves out as informational."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np

from archive.grading.arithmetic import Bools, Ints, Reals, Values
from archive.grading.coverage import SAME, Reach, reach
from archive.grading.expressions import CurveExpression, Grid, RecordBlock, find
from archive.grading.graded_columns import CONFIDENCES
from archive.grading.plan import DerivationPlan, pairs_of


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


def lay_line(line: Any, grid: Grid) -> LineOnGrid:
    """Lays a limit line (archive.limits.Line) on a grid: evaluated once per axis, not per curve."""
    low, high = line.range_mhz
    f = grid.frequencies
    first, last = np.searchsorted(f, (low * (1 - SAME), high * (1 + SAME)))
    inside = np.clip(f[first:last], low, high)
    confidences = np.searchsorted(np.array(CONFIDENCES), line.confidence_at(inside))
    bounded = np.flatnonzero(line.bound_confidence_at(inside) == "C")
    return LineOnGrid(
        slice(int(first), int(last)),
        f[first:last],
        np.asarray(line.at(inside)),
        confidences,
        reach(f, low, high),
        bounded,
        np.asarray(line.unbounded(inside[bounded])),
    )


@dataclass(frozen=True)
class InformationalRule:
    """One rule by which points are informational: the expression to look at, and for each graded curve the curves of
    that expression that must all satisfy it (places (curves, n))."""

    expression: CurveExpression
    places: Ints
    below: bool
    value: float
    from_memory: bool

    def at(self, block: RecordBlock, columns: slice) -> Bools:
        """Which points (records, curves, points) are surely for information only."""
        values = self.expression.at(block).take((..., columns))
        holds = values.high < self.value if self.below else _more(values, self.value)
        if not holds.any():
            return np.zeros((holds.shape[0], len(self.places), holds.shape[-1]), np.bool_)
        return np.asarray(holds[:, self.places, :].all(axis=2))


def _more(values: Values, value: float) -> Bools:
    """Surely more than a value; a point known only as more than that value is."""
    if values.is_exact:
        return np.asarray(values.low > value)
    return np.asarray((values.low > value) | ((values.low >= value) & (values.high > values.low)))


def rules_of(line: Any, expression: CurveExpression, plan: DerivationPlan) -> Iterator[InformationalRule]:
    """The rules of a line that can be looked at with what the layout has; one that cannot leaves nothing out."""
    for rule in line.exemptions:
        wanted: list[tuple[int | None, tuple[int, ...]]]
        if rule.word == "il_below":
            other = plan.loss(expression.grid)
            wanted = [(None, pair) for code in expression.pairings for pair in [pairs_of(int(code))]]
        else:
            name = {"fext_above": "fext", "ps_fext_above": "ps_fext"}[rule.word]
            same = [n for n in plan.curves_for(name) if tuple(n.grid.columns) == tuple(expression.grid.columns)]
            other = same[0] if same else None
            wanted = [(int(e), (int(p),)) for e, p in zip(expression.ends, expression.pairings, strict=True)]
        if other is None:
            continue
        places = [[find(other, code, end) for code in codes] for end, codes in wanted]
        if places and all(min(row, default=-1) >= 0 for row in places):
            below = rule.word == "il_below"
            yield InformationalRule(other, np.array(places), below, float(rule.value), rule.confidence == "C")
