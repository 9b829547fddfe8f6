"""A limit line laid on a grid, and the points that it leaves out as informational."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np

from archive.grading.arithmetic import Bools, Ints, Reals, Values
from archive.grading.coverage import SAME, Reach, reach
from archive.grading.curves import PAIRINGS
from archive.grading.derive import PAIR, Plan, pairs_of
from archive.grading.nodes import Block, Grid, Node
from archive.grading.pieces import LETTERS


@dataclass(frozen=True)
class OnGrid:
    """A line at the points of a grid that lie in its range.

    columns: those points in the grid; frequencies, limits, letters (codes): (points,); letter: the worst of them;
    reach: what the grid reaches of the line's range. eased: points at which a cap or floor known only from memory
    rules, and bare: the limit there without it (a value between the two passes by that cap alone).
    """

    columns: slice
    frequencies: Reals
    limits: Reals
    letters: Ints
    reach: Reach
    eased: Ints
    bare: Reals

    @property
    def letter(self) -> int:
        return int(self.letters.max(initial=0))


def on_grid(line: Any, grid: Grid) -> OnGrid:
    """Lays a limit line (archive.limits.Line) on a grid: evaluated once per axis, not per curve."""
    low, high = line.range_mhz
    f = grid.frequencies
    first, last = np.searchsorted(f, (low * (1 - SAME), high * (1 + SAME)))
    inside = np.clip(f[first:last], low, high)
    letters = np.searchsorted(np.array(LETTERS), line.confidence_at(inside))
    eased = np.flatnonzero(line.bound_confidence_at(inside) == "C")
    return OnGrid(
        slice(int(first), int(last)),
        f[first:last],
        np.asarray(line.at(inside)),
        letters,
        reach(f, low, high),
        eased,
        np.asarray(line.unbounded(inside[eased])),
    )


@dataclass(frozen=True)
class LeftOut:
    """One rule by which points are informational: the node to look at, and for each graded curve the curves of
    that node that must all satisfy it (places (curves, n))."""

    node: Node
    places: Ints
    below: bool
    value: float
    from_memory: bool

    def at(self, block: Block, columns: slice) -> Bools:
        """Which points (records, curves, points) are surely for information only."""
        values = self.node.at(block).take((..., columns))
        holds = values.high < self.value if self.below else _more(values, self.value)
        if not holds.any():
            return np.zeros((holds.shape[0], len(self.places), holds.shape[-1]), np.bool_)
        return np.asarray(holds[:, self.places, :].all(axis=2))


def _more(values: Values, value: float) -> Bools:
    """Surely more than a value; a point known only as more than that value is."""
    if values.is_exact:
        return np.asarray(values.low > value)
    return np.asarray((values.low > value) | ((values.low >= value) & (values.high > values.low)))


def rules_of(line: Any, node: Node, plan: Plan) -> Iterator[LeftOut]:
    """The rules of a line that can be looked at with what the layout has; one that cannot leaves nothing out."""
    for rule in line.rules:
        wanted: list[tuple[int | None, tuple[int, ...]]]
        if rule.word == "il_below":
            other = plan.loss(node.grid)
            wanted = [(None, pair) for code in node.pairings for pair in [_pairs(int(code))]]
        else:
            name = {"fext_above": "fext", "ps_fext_above": "ps_fext"}[rule.word]
            same = [n for n in plan.best(name) if tuple(n.grid.columns) == tuple(node.grid.columns)]
            other = same[0] if same else None
            wanted = [(int(e), (int(p),)) for e, p in zip(node.ends, node.pairings, strict=True)]
        if other is None:
            continue
        places = [[_place(other, end, code) for code in codes] for end, codes in wanted]
        if places and all(min(row, default=-1) >= 0 for row in places):
            below = rule.word == "il_below"
            yield LeftOut(other, np.array(places), below, float(rule.value), rule.confidence == "C")


def _pairs(code: int) -> tuple[int, ...]:
    return (code,) if PAIRINGS[code] in PAIR else pairs_of(code)


def _place(node: Node, end: int | None, pairing: int) -> int:
    same = node.pairings == pairing
    found = np.flatnonzero(same if end is None else same & (node.ends == end))
    return int(found[0]) if len(found) else -1
