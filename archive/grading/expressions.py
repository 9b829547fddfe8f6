"""Curves and what is computed from them, described once for a layout and evaluated block by block of records."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from archive.grading.arithmetic import Ints, Reals, Values, difference, mean, power_sum, total
from archive.grading.layouts import Slots
from archive.grading.sweep_arrays import SweepArrays


@dataclass
class LayoutBlock:
    """Some records of a layout, as a slice, and what was computed for them so far."""

    records: slice
    done: dict[int, Values] = field(default_factory=dict)


@dataclass(frozen=True)
class Grid:
    """The frequencies at which curves are compared.

    frequencies: (points,), MHz. columns: by axis code, its points: the first of a run, or indices. parts: the grids
    whose shared points these are; empty where it is a grid of its own.
    """

    frequencies: Reals
    columns: dict[int, int | Ints]
    parts: tuple[Reals, ...] = ()


@dataclass(frozen=True, eq=False)
class CurveExpression:
    """Curves of one parameter, given or computed.

    ends, pairings: codes (curves,). resolution: (records, curves), how far rounding in the export can have moved a
    value, NaN where the export's step is not known. derived: recomputed from other curves.
    """

    grid: Grid
    ends: Ints
    pairings: Ints
    resolution: Reals
    derived: bool

    def __len__(self) -> int:
        return len(self.ends)

    def at(self, block: LayoutBlock) -> Values:
        """Values (records, curves, points) of a block, computed once."""
        known = block.done.get(id(self))
        if known is None:
            known = block.done[id(self)] = self.compute(block)
        return known

    def compute(self, block: LayoutBlock) -> Values:
        raise NotImplementedError


@dataclass(frozen=True, eq=False)
class SourceCurves(CurveExpression):
    """Curves as the export gives them."""

    curves: SweepArrays
    slots: Slots

    def compute(self, block: LayoutBlock) -> Values:
        points = len(self.grid.frequencies)
        rows = self.slots.rows[block.records]
        first = self.grid.columns[int(self.slots.axes[0])]
        if isinstance(first, int):
            return self.curves.gather(rows, first, points)
        # SweepArrays of several axes: the points that all of them have.
        low, high = (np.empty((*rows.shape, points)) for _ in range(2))
        for code in np.unique(self.slots.axes):
            here, columns = self.slots.axes == code, self.grid.columns[int(code)]
            whole = self.curves.gather(rows[:, here], 0, len(self.curves.axes[code]))
            low[:, here], high[:, here] = whole.low[..., columns], whole.high[..., columns]
        return Values.exact(low) if not self.curves.doubtful[rows].any() else Values(low, high)


def source_curves(curves: SweepArrays, slots: Slots, grid: Grid, derived: bool = False) -> SourceCurves:
    """Curves of the export. derived: alien power sums that were added to them."""
    return SourceCurves(grid, slots.ends, slots.pairings, curves.step[slots.rows] / 2, derived, curves, slots)


@dataclass(frozen=True, eq=False)
class SelectedCurves(CurveExpression):
    """Some curves of another expression."""

    source: CurveExpression
    places: Ints

    def compute(self, block: LayoutBlock) -> Values:
        return self.source.at(block).take((slice(None), self.places))


def selected(source: CurveExpression, places: Ints) -> CurveExpression:
    """Some curves of an expression; the expression itself where all are selected in order."""
    if np.array_equal(places, np.arange(len(source))):
        return source
    ends, pairings, resolution = source.ends[places], source.pairings[places], source.resolution[:, places]
    return SelectedCurves(source.grid, ends, pairings, resolution, source.derived, source, places)


@dataclass(frozen=True, eq=False)
class AtPoints(CurveExpression):
    """Another expression at some points of its grid. points: their places."""

    source: CurveExpression
    points: Ints

    def compute(self, block: LayoutBlock) -> Values:
        return self.source.at(block).take((..., self.points))


def at_points(source: CurveExpression, grid: Grid) -> CurveExpression:
    """An expression at those of its points that are a grid's."""
    points = np.searchsorted(source.grid.frequencies, grid.frequencies)
    return AtPoints(grid, source.ends, source.pairings, source.resolution, source.derived, source, points)


@dataclass(frozen=True, eq=False)
class PowerSum(CurveExpression):
    """Power sums of chosen curves of another expression, or their mean in dB.

    members: (sums, contributors of each), places of curves of the source.
    """

    source: CurveExpression
    members: Ints
    average: bool

    def compute(self, block: LayoutBlock) -> Values:
        return (mean if self.average else power_sum)(self.source.at(block), self.members)


def power_sums(source: CurveExpression, ends: Ints, pairings: Ints, members: Ints, average: bool = False) -> PowerSum:
    """Power sums (or means). Contributors that are all rounded the same way move the sum by as much, not more."""
    resolution = source.resolution[:, members].max(axis=-1)
    return PowerSum(source.grid, ends, pairings, resolution, True, source, members, average)


@dataclass(frozen=True, eq=False)
class Combined(CurveExpression):
    """Curves of one expression minus (or plus) those of another, such as NEXT minus insertion loss."""

    source: CurveExpression
    other: CurveExpression
    places: Ints
    other_places: Ints
    sign: int

    def compute(self, block: LayoutBlock) -> Values:
        operation = difference if self.sign < 0 else total
        return operation(self.source.at(block), self.other.at(block), self.places, self.other_places)


def combined(
    source: CurveExpression, places: Ints, other: CurveExpression, other_places: Ints, sign: int, pairings: Ints
) -> Combined:
    """Curves of which the k-th is curve places[k] of source minus (sign -1) or plus curve other_places[k] of other."""
    resolution = source.resolution[:, places] + other.resolution[:, other_places]
    ends = source.ends[places]
    return Combined(source.grid, ends, pairings, resolution, True, source, other, places, other_places, sign)


def find(curves: CurveExpression | Slots, pairing: int, end: int | None = None) -> int:
    """Place of the first curve of a pairing (at an end), -1 where there is none."""
    same = curves.pairings == pairing
    found = np.flatnonzero(same if end is None else same & (curves.ends == end))
    return int(found[0]) if len(found) else -1


def names(curves: CurveExpression | Slots) -> list[tuple[int, int]]:
    """(end, pairing) of each curve, as codes."""
    return list(zip(curves.ends.tolist(), curves.pairings.tolist(), strict=True))
