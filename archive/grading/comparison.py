"""Compares what was recomputed with what the instrument reported, by curve and by parameter.

Two numbers differ where they are further apart than rounding explains: half a step of the curve's numbers (of each
curve, for a quantity made of several), half a step of the reported number, and half a step of the limit that the
instrument used. A margin better than the instrument's differs only where the frequency that it names is a point of
the curve: an export may be coarser than the measurement. Where the margin lies within the resolution, a different
verdict is no disagreement.
"""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass, field

import numpy as np

from archive import vocabulary
from archive.grading import limit_values
from archive.grading.arithmetic import EXACT, Bools, Ints, Reals
from archive.grading.coverage import rules
from archive.grading.graded_columns import NOT_GRADED, UNKNOWN, VERDICTS, WORST_MARGIN, WORST_VALUE, GradedColumns
from archive.grading.grading_input import GradingInput
from archive.limits import Limit


@dataclass
class Comparison:
    """The result of comparing.

    margins, agrees: per graded curve, by kind of point (NaN, UNKNOWN where there is nothing to compare).
    parameter_margin, parameter_agrees: (records, parameters). notes: what differs, by (record, parameter); parameter
    -1 for one that the limit does not have.
    """

    parameter_margin: Reals
    parameter_agrees: Ints
    notes: dict[tuple[int, int], list[str]] = field(default_factory=lambda: defaultdict(list))
    margins: dict[int, Reals] = field(default_factory=dict)
    agrees: dict[int, Ints] = field(default_factory=dict)

    @classmethod
    def nothing(cls, records: int, parameters: int) -> Comparison:
        """Nothing compared yet."""
        shape = records, parameters
        return cls(np.full(shape, np.nan), np.full(shape, UNKNOWN))

    def begin(self, graded: int) -> None:
        """Makes room for a number of graded curves."""
        self.margins = {kind: np.full(graded, np.nan) for kind in (WORST_MARGIN, WORST_VALUE)}
        self.agrees = {kind: np.full(graded, UNKNOWN) for kind in (WORST_MARGIN, WORST_VALUE)}

    def differ(self, record: int, number: int, note: str) -> None:
        """Notes a disagreement."""
        if number >= 0:
            self.parameter_agrees[record, number] = 0
        if note not in self.notes[record, number]:
            self.notes[record, number].append(note)

    def agree(self, record: Ints, number: Ints) -> None:
        """Notes agreement, where no disagreement was found before."""
        before = self.parameter_agrees[record, number]
        self.parameter_agrees[record, number] = np.where(before == UNKNOWN, 1, before)


def compare(
    limit: Limit, graded: GradedColumns, verdicts: Ints, data: GradingInput, is_named: Bools, comparison: Comparison
) -> None:
    """Compares what was graded with what was reported, and writes into comparison.

    verdicts: (records, parameters), recomputed. is_named: per record, is this the limit that the instrument tested to.
    """
    names = list({**limit.lines, **limit.scalars})
    reported = data.reported
    number = reported.numbers(limit, {name: i for i, name in enumerate(names)})
    rows = np.flatnonzero((number >= 0) & (reported.record >= 0) & is_named[reported.record] & (reported.kind > 0))
    if len(rows):
        comparer = _Comparer(limit, names, graded, verdicts, data, number, comparison)
        comparer.limits(rows)
        comparer.curves(rows)
        comparer.worst(rows)
        comparer.verdicts_of(rows)


@dataclass
class _Comparer:
    limit: Limit
    names: list[str]
    graded: GradedColumns
    verdicts: Ints
    data: GradingInput
    number: Ints
    comparison: Comparison

    def __post_init__(self) -> None:
        graded, reported = self.graded, self.data.reported
        self.reported = reported
        self.unknown = float(rules()["comparison"]["unknown_step"])
        self.has_ends = np.array([vocabulary.parameter(name).ends for name in self.names])
        ends = np.where(self.has_ends[graded.parameter], graded.end, 2)
        top = int(max(graded.pairing.max(initial=0), reported.pairing.max(initial=0))) + 2
        self.keys = self._key(graded.record, graded.parameter, ends, graded.pairing, top)
        self.reported_keys = self._key(reported.record, self.number, reported.end, reported.pairing, top)
        self.ours = np.where(np.isnan(graded.resolution), self.unknown, graded.resolution)
        self.step = np.where(np.isnan(reported.step), self.unknown, reported.step)
        with np.errstate(invalid="ignore"):
            self.within = np.abs(graded.margin) < graded.resolution

    def _key(self, record: Ints, number: Ints, end: Ints, pairing: Ints, top: int) -> Ints:
        return ((record * (len(self.names) + 1) + number) * 3 + end) * top + pairing + 1

    def limits(self, rows: Ints) -> None:
        """The limit that the instrument stated at a point against ours there."""
        rounding = float(rules()["comparison"]["limit_rounding"])
        for place, name in enumerate(self.names):
            here = rows[(self.number[rows] == place) & ~np.isnan(self.reported.limit[rows])]
            if not len(here) or not limit_values.is_single_number(self.limit, name):
                continue
            f, theirs = self.reported.frequency[here], self.reported.limit[here]
            ours, _ = limit_values.at_points(self.limit, name, f, theirs)
            if name in self.limit.scalars:  # an instrument may state the limit without its tolerance
                plain = ours / (1 + self.limit.scalars[name].tolerance_percent / 100)
                ours = np.where(np.abs(theirs - ours) < np.abs(theirs - plain), ours, plain)
            with np.errstate(invalid="ignore"):
                off = np.abs(theirs - ours) > np.maximum(self.step[here] / 2, rounding) + EXACT
            for i in np.flatnonzero(off):
                at = "" if np.isnan(f[i]) else f" at {f[i]:g} MHz"
                note = f"the instrument's limit{at} is {theirs[i]:g}, this limit is {ours[i]:.2f}"
                self.comparison.differ(int(self.reported.record[here[i]]), place, note)

    def curves(self, rows: Ints) -> None:
        """Each reported point that names a pairing against the graded curve of that pairing."""
        by_key = np.argsort(self.keys, kind="stable")
        keys = self.keys[by_key]
        for kind in (WORST_MARGIN, WORST_VALUE) if len(keys) else ():
            here = rows[self.reported.kind[rows] == kind][::-1]
            at = np.minimum(np.searchsorted(keys, self.reported_keys[here]), len(keys) - 1)
            met = keys[at] == self.reported_keys[here]
            here, curve = here[met], by_key[at[met]]
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
        stated = reported.verdict[here] >= 0
        other = stated & (graded.verdict[curve] != NOT_GRADED) & (reported.verdict[here] != graded.verdict[curve])
        other &= ~self.within[curve]
        equal = stated & (reported.verdict[here] == graded.verdict[curve])
        return np.where(differs | other, 0, np.where(same | equal, 1, UNKNOWN))

    def _comparable(self, here: Ints) -> Bools:
        """Can a better margin of ours be compared with the reported point."""
        swept = np.array([name not in self.limit.scalars for name in self.names])[self.number[here]]
        f = self.reported.frequency[here]
        out = ~swept | (self.verdicts[self.reported.record[here], self.number[here]] != NOT_GRADED)
        stated = np.flatnonzero(swept & ~np.isnan(f))
        out[stated] = self.data.on_grid(self.reported.record[here[stated]], f[stated])
        return np.asarray(out)

    def worst(self, rows: Ints) -> None:
        """The smallest margin by parameter, and by parameter and end, against the smallest reported."""
        reported, graded = self.reported, self.graded
        here = rows[(reported.kind[rows] == WORST_MARGIN) & ~np.isnan(reported.margin[rows])]
        if not len(here):
            return
        curves = np.flatnonzero(~np.isnan(graded.margin))
        mine = graded.record[curves] * len(self.names) + graded.parameter[curves]
        theirs = reported.record[here] * len(self.names) + self.number[here]
        ends = np.where(self.has_ends[graded.parameter[curves]], graded.end[curves], 2)
        for by_end in (False, True):
            if by_end:
                mine, theirs = mine * 3 + ends, theirs * 3 + reported.end[here]
            reported_keys, at = _smallest(theirs, reported.margin[here])
            at = here[at]
            record, number = reported.record[at], self.number[at]
            if not by_end:
                self.comparison.parameter_margin[record, number] = reported.margin[at]
            if not len(curves):
                return
            keys, best = _smallest(mine, graded.margin[curves])
            _, least_sure = _smallest(mine, -self.ours[curves])
            place = np.minimum(np.searchsorted(keys, reported_keys), len(keys) - 1)
            met = keys[place] == reported_keys
            at, record, number, place = at[met], record[met], number[met], place[met]
            ours = graded.margin[curves[best[place]]]
            room = self.ours[curves[least_sure[place]]] + self.step[at] + EXACT
            gain = ours - reported.margin[at]
            same = np.abs(gain) <= room
            self.comparison.agree(record[same], number[same])
            for i in np.flatnonzero((gain < -room) | ((gain > room) & self._comparable(at))):
                unit = vocabulary.parameter(self.names[number[i]]).unit
                note = f"worst margin {ours[i]:.2f} {unit} here, {reported.margin[at[i]]:.6g} by the instrument"
                self.comparison.differ(int(record[i]), int(number[i]), note)

    def verdicts_of(self, rows: Ints) -> None:
        """The verdict of a parameter against the instrument's: fail where any of its points says so."""
        stated = rows[self.reported.verdict[rows] >= 0]
        theirs = np.full(self.verdicts.shape, UNKNOWN)
        np.maximum.at(theirs, (self.reported.record[stated], self.number[stated]), self.reported.verdict[stated])
        both = (theirs != UNKNOWN) & (self.verdicts != NOT_GRADED)
        self.comparison.agree(*np.nonzero(both & (theirs == self.verdicts)))
        for record, number in zip(*np.nonzero(both & (theirs != self.verdicts)), strict=True):
            if not self._near(int(record), int(number)):
                note = f"the instrument says {VERDICTS[theirs[record, number]]}"
                self.comparison.differ(int(record), int(number), note)

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
