"""Records with the same curves on the same axes, gathered so that one pass of array code serves them all.

A layout is a set of records in each of which the same slots (parameter, end, pairing) are filled, on the same
frequency axes. Exports of one job have one layout or a few.
"""

from __future__ import annotations

from collections.abc import Generator, Iterator
from dataclasses import dataclass, replace

import numpy as np

from archive.grading.arithmetic import Bools, Ints
from archive.grading.sweep_arrays import SweepArrays, pairing_codes, parameter_of


@dataclass(frozen=True)
class Slots:
    """The curves of one parameter in a layout.

    ends, pairings, axes: (slots,), codes. rows: (records, slots), rows of the sweeps table.
    """

    ends: Ints
    pairings: Ints
    axes: Ints
    rows: Ints

    def __len__(self) -> int:
        return len(self.ends)

    def take(self, chosen: Ints | Bools) -> Slots:
        """Some of the slots."""
        return Slots(self.ends[chosen], self.pairings[chosen], self.axes[chosen], self.rows[:, chosen])


@dataclass(frozen=True)
class Layout:
    """Records (their places in the batch) and, by parameter, the slots that all of them fill.

    duplicate: these rows stand beside others of the same parameter, end and pairing; they are graded as they are and
    enter no derived quantity.
    """

    records: Ints
    slots: dict[str, Slots]
    duplicate: bool = False

    @property
    def axes(self) -> list[int]:
        """Codes of all its axes."""
        return sorted({code for slots in self.slots.values() for code in slots.axes.tolist()})

    def of(self, wanted: Bools) -> Layout:
        """The layout with only the records that are wanted. wanted: a flag per record of the batch."""
        chosen = wanted[self.records]
        if chosen.all():
            return self
        slots = {name: replace(s, rows=s.rows[chosen]) for name, s in self.slots.items()}
        return replace(self, records=self.records[chosen], slots=slots)


def layouts(curves: SweepArrays, usable: Bools) -> Iterator[Layout]:
    """Layouts of the curves that can be graded. usable: a flag per curve."""
    left = np.flatnonzero(usable & curves.given & (curves.pairing >= 0))
    duplicate = False
    while len(left):
        taken = yield from _layer(curves, left, duplicate)
        left, duplicate = left[~np.isin(left, taken)], True


def _layer(curves: SweepArrays, rows: Ints, duplicate: bool) -> Generator[Layout, None, Ints]:
    """Layouts of the first row of every slot; returns the rows taken."""
    columns: list[tuple[str, int, Ints]] = []
    width = 0
    place = np.full(len(rows), -1, np.int64)
    for code, name in enumerate(curves.parameters):
        here = curves.parameter[rows] == code
        if not here.any():
            continue
        codes = pairing_codes(parameter_of(name).per)
        order = np.full(int(codes.max(initial=0)) + 1, -1)
        order[codes] = np.arange(len(codes))
        place[here] = width + curves.end[rows[here]] * len(codes) + order[curves.pairing[rows[here]]]
        columns.append((name, width, codes))
        width += 3 * len(codes)
    filled = np.full((curves.records, width), -1, np.int64)
    filled[curves.record[rows[::-1]], place[::-1]] = rows[::-1]
    axis = np.where(filled >= 0, curves.axis[filled], -1)
    # Doubtful records go by themselves: exact ones need no bounds.
    doubtful = (curves.doubtful[filled] & (filled >= 0)).any(axis=1)
    key = np.ascontiguousarray(np.column_stack([axis, doubtful]).astype(np.int32))
    some = np.flatnonzero((filled >= 0).any(axis=1))
    _, first, group = np.unique(key[some].view(f"V{key.shape[1] * 4}").ravel(), return_index=True, return_inverse=True)
    for number in np.argsort(first):
        records = some[group == number]
        yield Layout(records, dict(_slots(columns, filled[records], axis[records[0]])), duplicate)
    return filled[filled >= 0]


def _slots(columns: list[tuple[str, int, Ints]], filled: Ints, axis: Ints) -> Iterator[tuple[str, Slots]]:
    for name, begin, codes in columns:
        here = begin + np.flatnonzero(axis[begin : begin + 3 * len(codes)] >= 0)
        if len(here):
            ends, pairings = np.divmod(here - begin, len(codes))
            yield name, Slots(ends, codes[pairings], axis[here], filled[:, here])
