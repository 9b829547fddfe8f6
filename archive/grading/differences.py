"""Where an export contradicts itself or the limit: its derived curves against their parts, its limit curves against
the limit's line."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from archive import vocabulary
from archive.grading.arithmetic import EXACT, Bools, Ints, Reals
from archive.grading.comparison import Comparison
from archive.grading.coverage import rules
from archive.grading.curves import ENDS, ORIGINS, PAIRINGS, Curves
from archive.grading.expressions import CurveExpression, RecordBlock
from archive.grading.layouts import Layout
from archive.grading.plan import DERIVED, DerivationPlan


@dataclass
class DerivedCurveCheck:
    """One derived parameter: the export's curves, and the same recomputed."""

    parameter: str
    given: CurveExpression
    fresh: CurveExpression
    given_places: Ints
    fresh_places: Ints
    off: list[Reals] = field(default_factory=list)
    at: list[Ints] = field(default_factory=list)

    def run(self, block: RecordBlock) -> None:
        """The largest difference of each curve of a block, and where."""
        a = self.given.at(block).take((slice(None), self.given_places))
        b = self.fresh.at(block).take((slice(None), self.fresh_places))
        with np.errstate(invalid="ignore"):
            off = np.abs(a.low - b.low)
        if not (a.is_exact and b.is_exact):
            off = np.where((a.low == a.high) & (b.low == b.high), off, 0.0)
        at = off.argmax(axis=-1)
        self.at.append(at)
        self.off.append(np.take_along_axis(off, at[..., None], axis=-1)[..., 0])

    def report(self, layout: Layout, number: int, comparison: Comparison) -> None:
        """Notes, per record, the curve that differs most beyond rounding."""
        unknown = float(rules()["comparison"]["unknown_step"])
        off, at = np.concatenate(self.off), np.concatenate(self.at)
        room = np.nan_to_num(self.given.resolution[:, self.given_places], nan=unknown)
        room += np.nan_to_num(self.fresh.resolution[:, self.fresh_places], nan=unknown)
        beyond = np.where(off > room + EXACT, off, 0.0)
        meant = vocabulary.parameter(self.parameter)
        for r in np.flatnonzero(beyond.any(axis=1)):
            k = int(beyond[r].argmax())
            end = ENDS[self.given.ends[self.given_places[k]]]
            where = " ".join(str(x) for x in (PAIRINGS[self.given.pairings[self.given_places[k]]], end) if x)
            f = self.given.grid.frequencies[at[r, k]]
            note = (
                f"the export's own curve differs by up to {off[r, k]:.2f} {meant.unit} from what its other curves "
                f"give ({where}, at {f:g} MHz)"
            )
            comparison.differ(int(layout.records[r]), number, note if number >= 0 else f"{meant.name}: {note}")


def checks(plan: DerivationPlan) -> Iterator[DerivedCurveCheck]:
    """Derived curves that the export gives though their parts are there too, on one grid."""
    for parameter in DERIVED:
        if plan.slots(parameter) is None:
            continue
        for fresh in plan.recomputed(parameter):
            for given in plan.as_exported(parameter):
                if not np.array_equal(given.grid.frequencies, fresh.grid.frequencies):
                    continue
                mine = {
                    pair: i for i, pair in enumerate(zip(fresh.ends.tolist(), fresh.pairings.tolist(), strict=True))
                }
                pairs = list(zip(given.ends.tolist(), given.pairings.tolist(), strict=True))
                both = [(i, mine[pair]) for i, pair in enumerate(pairs) if pair in mine]
                if both:
                    places = np.array(both).T
                    yield DerivedCurveCheck(parameter, given, fresh, places[0], places[1])


def limit_curves(limit: Any, numbers: dict[str, int], curves: Curves, is_named: Bools, comparison: Comparison) -> None:
    """The limit that an export carries point by point, against the line. is_named: per record, is this its limit."""
    rounding = float(rules()["comparison"]["limit_rounding"])
    theirs = np.flatnonzero((curves.origin == ORIGINS.index("limit")) & (curves.axis >= 0) & (curves.record >= 0))
    theirs = theirs[is_named[curves.record[theirs]]]
    for name in dict.fromkeys(curves.parameters[p] for p in curves.parameter[theirs].tolist()):
        place = limit.names.get(name, name)
        line = limit.lines.get(place)
        if line is None:
            continue
        mine = theirs[curves.parameter[theirs] == curves.parameters.index(name)]
        for axis in np.unique(curves.axis[mine]).tolist():
            rows = mine[curves.axis[mine] == axis]
            f = curves.axes[axis].frequencies
            ours = np.asarray(line.at(f))
            for begin in range(0, len(rows), 256):
                some = rows[begin : begin + 256]
                values = curves.gather(some, 0, len(f))
                off = np.abs(values.low - ours)
                off = np.where(np.isfinite(off), off, 0.0)
                room = np.maximum(np.nan_to_num(curves.step[some] / 2, nan=rounding), rounding) + EXACT
                for i in np.flatnonzero(off.max(axis=1) > room):
                    at = int(off[i].argmax())
                    note = (
                        f"the export's limit curve is {values.low[i, at]:.6g} at {f[at]:g} MHz, "
                        f"this limit is {ours[at]:.2f}"
                    )
                    comparison.differ(int(curves.record[some[i]]), numbers[place], note)
