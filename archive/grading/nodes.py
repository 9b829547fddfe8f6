"""Curves and what is computed from them, described once for a layout and evaluated block by block of records."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from archive.grading.arithmetic import Ints, Reals, Values, difference, mean, power_sum, total
from archive.grading.curves import Curves
from archive.grading.layouts import Slots


@dataclass
class Block:
    """Some records of a layout, as a slice, and what was computed for them."""

    records: slice
    done: dict[int, Values] = field(default_factory=dict)


@dataclass(frozen=True)
class Grid:
    """The frequencies on which curves are laid side by side.

    frequencies: (points,), MHz. columns: by axis code, its points: (first,) and so on in a row, or indices.
    """

    frequencies: Reals
    columns: dict[int, int | Ints]


@dataclass(frozen=True, eq=False)
class Node:
    """Curves of one parameter: ends, pairings (curves,); resolution (records, curves): how far rounding in the
    export can have moved a value (NaN where the export's step is not known); derived: recomputed from others."""

    grid: Grid
    ends: Ints
    pairings: Ints
    resolution: Reals
    derived: bool

    def __len__(self) -> int:
        return len(self.ends)

    def at(self, block: Block) -> Values:
        """Values (records, curves, points) of a block, computed once."""
        known = block.done.get(id(self))
        if known is None:
            known = block.done[id(self)] = self.compute(block)
        return known

    def compute(self, block: Block) -> Values:
        raise NotImplementedError


@dataclass(frozen=True, eq=False)
class Given(Node):
    """Curves as the export gives them."""

    curves: Curves
    slots: Slots

    def compute(self, block: Block) -> Values:
        points = len(self.grid.frequencies)
        rows = self.slots.rows[block.records]
        first = self.grid.columns[int(self.slots.axes[0])]
        if isinstance(first, int):
            return self.curves.gather(rows, first, points)
        # Curves of several axes: the points that all of them have.
        low, high = (np.empty((*rows.shape, points)) for _ in range(2))
        for code in np.unique(self.slots.axes):
            here, columns = self.slots.axes == code, self.grid.columns[int(code)]
            whole = self.curves.gather(rows[:, here], 0, len(self.curves.axes[code].frequencies))
            low[:, here], high[:, here] = whole.low[..., columns], whole.high[..., columns]
        return Values.exact(low) if not self.curves.doubtful[rows].any() else Values(low, high)


def given(curves: Curves, slots: Slots, grid: Grid, derived: bool = False) -> Given:
    """A node of curves of the export (derived: of power sums that were laid beside them)."""
    return Given(grid, slots.ends, slots.pairings, curves.step[slots.rows] / 2, derived, curves, slots)


@dataclass(frozen=True, eq=False)
class Chosen(Node):
    """Some curves of another node."""

    source: Node
    places: Ints

    def compute(self, block: Block) -> Values:
        return self.source.at(block).take((slice(None), self.places))


def chosen(source: Node, places: Ints) -> Node:
    """Some curves of a node; the node itself where all are chosen in order."""
    if np.array_equal(places, np.arange(len(source))):
        return source
    return Chosen(
        source.grid,
        source.ends[places],
        source.pairings[places],
        source.resolution[:, places],
        source.derived,
        source,
        places,
    )


@dataclass(frozen=True, eq=False)
class Sum(Node):
    """Power sums of chosen curves of another node, or their mean in dB. members: (sums, contributors of each)."""

    source: Node
    members: Ints
    average: bool

    def compute(self, block: Block) -> Values:
        return (mean if self.average else power_sum)(self.source.at(block), self.members)


def sums(source: Node, ends: Ints, pairings: Ints, members: Ints, average: bool = False) -> Sum:
    """A node of power sums (or means). All contributors rounded the same way move the sum by as much, not more."""
    resolution = source.resolution[:, members].max(axis=-1)
    return Sum(source.grid, ends, pairings, resolution, True, source, members, average)


@dataclass(frozen=True, eq=False)
class Shifted(Node):
    """Curves of one node minus (or plus) those of another, such as NEXT minus insertion loss."""

    source: Node
    other: Node
    places: Ints
    other_places: Ints
    sign: int

    def compute(self, block: Block) -> Values:
        operation = difference if self.sign < 0 else total
        return operation(self.source.at(block), self.other.at(block), self.places, self.other_places)


def shifted(
    source: Node, places: Ints, other: Node, other_places: Ints, sign: int = -1, pairings: Ints | None = None
) -> Shifted:
    """A node whose curve k is curve places[k] of source minus (sign -1) or plus curve other_places[k] of other."""
    resolution = source.resolution[:, places] + other.resolution[:, other_places]
    named = source.pairings[places] if pairings is None else pairings
    return Shifted(source.grid, source.ends[places], named, resolution, True, source, other, places, other_places, sign)
