"""The second comparison: what was recomputed against what the instrument reported, by curve and by parameter.

Two numbers differ where they are further apart than rounding explains: half a step of the curve's numbers (of each
curve, for a quantity made of several), half a step of the reported number, and half a step of the limit that the
instrument used. A margin better than the instrument's differs only where the frequency it names is a point of the
curve: an export may be coarser than the measurement. Where the margin lies within the resolution, a different
verdict is nobody's fault and no disagreement.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np

from archive import vocabulary
from archive.grading.arithmetic import EXACT, Bools, Ints, Reals
from archive.grading.coverage import rules
from archive.grading.grade_scalars import order
from archive.grading.graded_columns import NOT_GRADED, UNKNOWN, WORST_MARGIN, WORST_VALUE, GradedColumns
from archive.grading.reported import ReportedPoints


@dataclass
class Comparison:
    """What came of it.

    margins, agrees: per graded curve, by kind of point (NaN, UNKNOWN where there is nothing to compare).
    parameter_margin, parameter_agrees: (records, parameters). notes: by (record, parameter; -1 for what is no
    parameter of the limit), what differs.
    """

    margins: dict[int, Reals]
    agrees: dict[int, Ints]
    parameter_margin: Reals
    parameter_agrees: Ints
    notes: dict[tuple[int, int], list[str]]

    def differ(self, record: int, number: int, note: str) -> None:
        """Notes a disagreement."""
        if number >= 0:
            self.parameter_agrees[record, number] = 0
        if note not in self.notes[record, number]:
            self.notes[record, number].append(note)


def nothing(records: int, parameters: int, graded: int) -> Comparison:
    """No comparison of anything."""
    return Comparison(
        {k: np.full(graded, np.nan) for k in (WORST_MARGIN, WORST_VALUE)},
        {k: np.full(graded, UNKNOWN) for k in (WORST_MARGIN, WORST_VALUE)},
        np.full((records, parameters), np.nan),
        np.full((records, parameters), UNKNOWN),
        defaultdict(list),
    )


def compare(
    limit: Any,
    graded: GradedColumns,
    verdicts: Ints,
    reported: ReportedPoints,
    own: Bools,
    on_grid: Callable[[Ints, Reals], Bools],
    comparison: Comparison,
) -> None:
    """Compares what was graded with what was reported, and writes into comparison.

    verdicts: (records, parameters) of ours. own: per record, is this the limit that the instrument tested to.
    on_grid: for records and frequencies, whether they are points of a curve of theirs.
    """
    number = reported.numbers(limit)
    rows = np.flatnonzero((number >= 0) & (reported.record >= 0) & own[reported.record] & (reported.kind > 0))
    if not len(rows):
        return
    comparer = _Comparer(limit, graded, verdicts, reported, number, on_grid, comparison)
    comparer.limits(rows)
    comparer.curves(rows)
    comparer.worst(rows)
    comparer.verdicts_of(rows)


@dataclass
class _Comparer:
    limit: Any
    graded: GradedColumns
    verdicts: Ints
    reported: ReportedPoints
    number: Ints
    on_grid: Callable[[Ints, Reals], Bools]
    comparison: Comparison

    def __post_init__(self) -> None:
        self.names = order(self.limit)
        self.unknown = float(rules()["comparison"]["unknown_step"])
        taken = np.array([vocabulary.parameter(name).ends for name in self.names] or [False])
        ends = np.where(taken[self.graded.parameter], self.graded.end, 2)
        top = int(max(self.graded.pairing.max(initial=0), self.reported.pairing.max(initial=0))) + 2
        self.keys = self._key(self.graded.record, self.graded.parameter, ends, self.graded.pairing, top)
        self.reported_keys = self._key(self.reported.record, self.number, self.reported.end, self.reported.pairing, top)
        self.ours = np.where(np.isnan(self.graded.resolution), self.unknown, self.graded.resolution)
        self.step = np.where(np.isnan(self.reported.step), self.unknown, self.reported.step)
        with np.errstate(invalid="ignore"):
            self.within = np.abs(self.graded.margin) < self.graded.resolution

    def _key(self, record: Ints, number: Ints, end: Ints, pairing: Ints, top: int) -> Ints:
        return ((record * (len(self.names) + 1) + number) * 3 + end) * top + pairing + 1

    def limits(self, rows: Ints) -> None:
        """The limit that the instrument stated at a point against ours there."""
        rounding = float(rules()["comparison"]["limit_rounding"])
        for place, name in enumerate(self.names):
            here = rows[(self.number[rows] == place) & ~np.isnan(self.reported.limit[rows])]
            if not len(here):
                continue
            f, theirs = self.reported.frequency[here], self.reported.limit[here]
            line, scalar = self.limit.lines.get(name), self.limit.scalars.get(name)
            ours = np.full(f.shape, np.nan)
            if line is not None:
                ours[~np.isnan(f)] = line.at(f[~np.isnan(f)])
            if scalar is not None and scalar.greater_of is None and scalar.per != "pairset":
                unbounded = np.isnan(ours)
                with_tolerance = scalar.value * (1 + scalar.tolerance_percent / 100)
                nearer = np.abs(theirs - with_tolerance) < np.abs(theirs - scalar.value)
                ours[unbounded] = np.where(nearer, with_tolerance, scalar.value)[unbounded]
            with np.errstate(invalid="ignore"):
                off = np.abs(theirs - ours) > np.maximum(self.step[here] / 2, rounding) + EXACT
            for i in np.flatnonzero(off):
                at = "" if np.isnan(f[i]) else f" at {f[i]:g} MHz"
                note = f"the instrument's limit{at} is {theirs[i]:g}, this limit is {ours[i]:.2f}"
                self.comparison.differ(int(self.reported.record[here[i]]), place, note)

    def curves(self, rows: Ints) -> None:
        """Each reported point that names a pairing against the graded curve of that pairing."""
        sorted_places = np.argsort(self.keys, kind="stable")
        keys = self.keys[sorted_places]
        for kind in (WORST_MARGIN, WORST_VALUE):
            here = rows[self.reported.kind[rows] == kind][::-1]
            at = np.searchsorted(keys, self.reported_keys[here])
            if not len(keys):
                continue
            met = (at < len(keys)) & (keys[np.minimum(at, len(keys) - 1)] == self.reported_keys[here])
            here, curve = here[met], sorted_places[at[met]]
            usable = (self.graded.kinds[curve] & kind) > 0
            here, curve = here[usable], curve[usable]
            self.comparison.margins[kind][curve] = self.reported.margin[here]
            self.comparison.agrees[kind][curve] = self._agrees(here, curve, kind)

    def _agrees(self, here: Ints, curve: Ints, kind: int) -> Ints:
        reported, graded = self.reported, self.graded
        if kind == WORST_MARGIN:
            gain = graded.margin[curve] - reported.margin[here]
            room = self.ours[curve] + self.step[here] + EXACT
        else:
            gain = (graded.value_value[curve] - reported.value[here]) * reported.sign[here]
            room = self.ours[curve] + self.step[here] / 2 + EXACT
        with np.errstate(invalid="ignore"):
            differs = (gain < -room) | ((gain > room) & self._comparable(here))
            same = np.abs(gain) <= room
        told = reported.verdict[here] >= 0
        other = told & (graded.verdict[curve] != NOT_GRADED) & (reported.verdict[here] != graded.verdict[curve])
        other &= ~self.within[curve]
        equal = told & (reported.verdict[here] == graded.verdict[curve])
        return np.where(differs | other, 0, np.where(same | equal, 1, UNKNOWN))

    def _comparable(self, here: Ints) -> Bools:
        """Can a better margin of ours be held against the reported point."""
        swept = np.array([name not in self.limit.scalars for name in self.names])[self.number[here]]
        f = self.reported.frequency[here]
        out = ~swept | (self.verdicts[self.reported.record[here], self.number[here]] != NOT_GRADED)
        stated = np.flatnonzero(swept & ~np.isnan(f))
        out[stated] = self.on_grid(self.reported.record[here[stated]], f[stated])
        return np.asarray(out)

    def worst(self, rows: Ints) -> None:
        """The smallest margin by parameter, and by parameter and end, against the smallest reported."""
        here = rows[(self.reported.kind[rows] == WORST_MARGIN) & ~np.isnan(self.reported.margin[rows])]
        if not len(here):
            return
        curves = np.flatnonzero(~np.isnan(self.graded.margin))
        mine = self.graded.record[curves] * len(self.names) + self.graded.parameter[curves]
        theirs = self.reported.record[here] * len(self.names) + self.number[here]
        taken = np.array([vocabulary.parameter(name).ends for name in self.names])
        ends = np.where(taken[self.graded.parameter[curves]], self.graded.end[curves], 2)
        for by_end in (False, True):
            if by_end:
                mine, theirs = mine * 3 + ends, theirs * 3 + self.reported.end[here]
            reported_keys, at = _smallest(theirs, self.reported.margin[here])
            at = here[at]
            record, number = self.reported.record[at], self.number[at]
            if not by_end:
                self.comparison.parameter_margin[record, number] = self.reported.margin[at]
            if not len(curves):
                return
            keys, best = _smallest(mine, self.graded.margin[curves])
            _, least_sure = _smallest(mine, -self.ours[curves])
            place = np.minimum(np.searchsorted(keys, reported_keys), len(keys) - 1)
            met = keys[place] == reported_keys
            at, record, number, place = at[met], record[met], number[met], place[met]
            ours = self.graded.margin[curves[best[place]]]
            room = self.ours[curves[least_sure[place]]] + self.step[at] + EXACT
            gain = ours - self.reported.margin[at]
            same = np.abs(gain) <= room
            self._agree(record[same], number[same])
            for i in np.flatnonzero((gain < -room) | ((gain > room) & self._comparable(at))):
                unit = vocabulary.parameter(self.names[number[i]]).unit
                note = f"worst margin {ours[i]:.2f} {unit} here, {self.reported.margin[at[i]]:.6g} by the instrument"
                self.comparison.differ(int(record[i]), int(number[i]), note)

    def _agree(self, record: Ints, number: Ints) -> None:
        """Agreement, where no disagreement was found before."""
        before = self.comparison.parameter_agrees[record, number]
        self.comparison.parameter_agrees[record, number] = np.where(before == UNKNOWN, 1, before)

    def verdicts_of(self, rows: Ints) -> None:
        """The verdict of a parameter against the instrument's: fail where any of its points says so."""
        told = rows[self.reported.verdict[rows] >= 0]
        theirs = np.full(self.verdicts.shape, UNKNOWN)
        np.maximum.at(theirs, (self.reported.record[told], self.number[told]), self.reported.verdict[told])
        both = (theirs != UNKNOWN) & (self.verdicts != NOT_GRADED)
        self._agree(*np.nonzero(both & (theirs == self.verdicts)))
        for record, number in zip(*np.nonzero(both & (theirs != self.verdicts)), strict=True):
            if not self._near(int(record), int(number)):
                word = ("pass", "fail")[theirs[record, number]]
                self.comparison.differ(int(record), int(number), f"the instrument says {word}")

    def _near(self, record: int, number: int) -> bool:
        """Does the verdict of a parameter hang on margins within the resolution."""
        key = record * len(self.names) + number
        keys = self.graded.record * len(self.names) + self.graded.parameter
        curves = np.arange(*np.searchsorted(keys, (key, key + 1)))
        failing = curves[self.graded.margin[curves] < -EXACT]
        return bool(self.within[failing].all() if len(failing) else self.within[curves].any())


def _smallest(keys: Ints, values: Reals) -> tuple[Ints, Ints]:
    """Distinct keys, and for each the place of its smallest value."""
    by = np.lexsort((values, keys))
    found, first = np.unique(keys[by], return_index=True)
    return found, by[first]
