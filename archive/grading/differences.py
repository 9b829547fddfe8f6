"""Where an export contradicts itself or the limit: its derived curves against their parts, its limit curves against
the line of the limit."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field

import numpy as np

from archive import vocabulary
from archive.grading.arithmetic import EXACT, Bools, Ints, Reals
from archive.grading.comparison import Comparison
from archive.grading.coverage import rules
from archive.grading.expressions import CurveExpression, LayoutBlock, names, selected
from archive.grading.layouts import Layout
from archive.grading.plan import DERIVED, DerivationPlan
from archive.grading.sweep_arrays import ENDS, LIMIT_CURVE, PAIRINGS, SweepArrays
from archive.limits import Limit


@dataclass
class DerivedCurveCheck:
    """One derived parameter: curves of the export, and the same curves recomputed.

    off, at: by block, the largest difference of each curve and the place of its point, (records, curves).
    """

    parameter: str
    exported: CurveExpression
    recomputed: CurveExpression
    off: list[Reals] = field(default_factory=list)
    at: list[Ints] = field(default_factory=list)

    def run(self, block: LayoutBlock) -> None:
        """Finds the largest difference of each curve of a block."""
        a, b = self.exported.at(block), self.recomputed.at(block)
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
        room = sum(np.nan_to_num(part.resolution, nan=unknown) for part in (self.exported, self.recomputed))
        beyond = np.where(off > room + EXACT, off, 0.0)
        meant = vocabulary.parameter(self.parameter)
        for r in np.flatnonzero(beyond.any(axis=1)):
            k = int(beyond[r].argmax())
            place = (PAIRINGS[self.exported.pairings[k]], ENDS[self.exported.ends[k]])
            where = " ".join(part for part in place if part)
            f = self.exported.grid.frequencies[at[r, k]]
            note = (
                f"the export's own curve differs by up to {off[r, k]:.2f} {meant.unit} from what its other curves "
                f"give ({where}, at {f:g} MHz)"
            )
            comparison.differ(int(layout.records[r]), number, note if number >= 0 else f"{meant.name}: {note}")


def checks(plan: DerivationPlan) -> Iterator[DerivedCurveCheck]:
    """Derived curves that the export gives though their parts are there too, on one grid."""
    for parameter in DERIVED:
        for recomputed in plan.recomputed(parameter) if plan.slots(parameter) is not None else ():
            for exported in plan.as_exported(parameter):
                if not np.array_equal(exported.grid.frequencies, recomputed.grid.frequencies):
                    continue
                mine = {name: place for place, name in enumerate(names(recomputed))}
                both = [(place, mine[name]) for place, name in enumerate(names(exported)) if name in mine]
                if both:
                    given, fresh = np.array(both).T
                    yield DerivedCurveCheck(parameter, selected(exported, given), selected(recomputed, fresh))


def limit_curves(
    limit: Limit, numbers: dict[str, int], curves: SweepArrays, is_named: Bools, comparison: Comparison
) -> None:
    """Compares the limit that an export carries point by point with the line.

    numbers: places of the parameters in the limit. is_named: per record, is this the limit that it names.
    """
    rounding = float(rules()["comparison"]["limit_rounding"])
    theirs = np.flatnonzero((curves.origin == LIMIT_CURVE) & (curves.axis >= 0) & (curves.record >= 0))
    theirs = theirs[is_named[curves.record[theirs]]]
    for code in dict.fromkeys(curves.parameter[theirs].tolist()):
        name = limit.names.get(curves.parameters[code], curves.parameters[code])
        line = limit.lines.get(name)
        mine = theirs[curves.parameter[theirs] == code]
        for axis in np.unique(curves.axis[mine]).tolist() if line is not None else ():
            assert line is not None
            rows = mine[curves.axis[mine] == axis]
            f = curves.axes[axis]
            ours = line.at(f)
            for some in np.array_split(rows, -(-len(rows) // 256)):
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
                    comparison.differ(int(curves.record[some[i]]), numbers[name], note)
