"""Points that are for information only: what the exemptions of a line decide, and what they cannot decide."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from archive import vocabulary
from archive.grading.arithmetic import Bools, Ints, Reals, Values
from archive.grading.expressions import CurveExpression, LayoutBlock, find
from archive.grading.plan import DerivationPlan, pairs_of
from archive.limits import Exemption, Limit, Line

HOLDS, FAILS, OPEN = 1, 0, -1
"""Does the condition of an exemption hold at a point: surely, surely not, or not known."""

_WORDS = {
    "il_below": ("insertion_loss", "insertion loss below {:g} dB"),
    "fext_above": ("fext", "FEXT above {:g} dB"),
    "ps_fext_above": ("ps_fext", "PS FEXT above {:g} dB"),
}


def left_out_by(limit: Limit, parameter: str) -> str:
    """What leaves points of a parameter out, with its confidence: "insertion loss below 3 dB (C)"."""
    exemptions = limit.lines[parameter].exemptions if parameter in limit.lines else ()
    return " or ".join(f"{_WORDS[e.word][1].format(e.value)} ({e.confidence})" for e in exemptions)


@dataclass(frozen=True)
class Decided:
    """What the exemptions of a line come to, each (records, curves, points).

    out: surely for information only. open: may be, and nobody can know; None where everything is decided.
    by_neighbours: decided by insertion loss at the points beside it; None where there are none.
    """

    out: Bools
    open: Bools | None = None
    by_neighbours: Bools | None = None


@dataclass(frozen=True)
class ExemptionOnGrid:
    """One exemption of a line on a grid.

    condition: the curves to look at (None: the record has none). places: (curves, n), for each graded curve the curves
    of the condition that must all satisfy it, -1 where it is not there. frequencies: the points in question, MHz.
    """

    exemption: Exemption
    condition: CurveExpression | None
    places: Ints
    frequencies: Reals

    @property
    def name(self) -> str:
        """Name of the parameter that its condition looks at."""
        return vocabulary.parameter(_WORDS[self.exemption.word][0]).name

    def at(self, block: LayoutBlock, records: int) -> Decided:
        """What is decided for a block of that many records."""
        shape = records, len(self.places), len(self.frequencies)
        if self.condition is None:
            return Decided(np.zeros(shape, np.bool_), np.ones(shape, np.bool_))
        values, f = self.condition.at(block), self.condition.grid.frequencies
        first = int(np.searchsorted(f, self.frequencies[0]))
        columns = slice(first, first + len(self.frequencies))
        if values.is_exact and self.places.min() >= 0 and np.array_equal(f[columns], self.frequencies):
            holds = _holds(values.take((..., columns)), self.exemption)
            if not holds.any():
                return Decided(np.zeros(shape, np.bool_))
            return Decided(np.asarray(holds[:, self.places, :].all(axis=2)))
        # One curve and one point more, for what is not there.
        states = np.pad(_states(values, self.exemption), ((0, 0), (0, 1), (0, 1)), constant_values=OPEN)
        low = np.searchsorted(f, self.frequencies, side="right") - 1
        high = np.searchsorted(f, self.frequencies, side="left")
        direct = states[..., np.where(low == high, low, -1)]
        if self.exemption.word == "il_below":
            # Only insertion loss is known to run smoothly from point to point.
            below, above = _last_known(states)[..., low], _last_known(states[..., ::-1])[..., ::-1][..., high]
            known = np.where(direct == OPEN, np.where(below == above, below, OPEN), direct)
        else:
            known = direct
        direct, known = direct[:, self.places, :], known[:, self.places, :]
        out, surely_not = (known == HOLDS).all(axis=2), (known == FAILS).any(axis=2)
        certain = (direct == HOLDS).all(axis=2) | (direct == FAILS).any(axis=2)
        return Decided(out, ~out & ~surely_not, (out | surely_not) & ~certain)


def _holds(values: Values, exemption: Exemption) -> Bools:
    """Where the condition surely holds; a point known only as less than (more than) the value is below (above) it."""
    if exemption.word == "il_below":
        sure, at_bound = values.high < exemption.value, values.high <= exemption.value
    else:
        sure, at_bound = values.low > exemption.value, values.low >= exemption.value
    return sure if values.is_exact else np.asarray(sure | (at_bound & (values.high > values.low)))


def _states(values: Values, exemption: Exemption) -> Ints:
    below = exemption.word == "il_below"
    surely_not = values.low >= exemption.value if below else values.high <= exemption.value
    return np.where(_holds(values, exemption), HOLDS, np.where(surely_not, FAILS, OPEN))


def _last_known(states: Ints) -> Ints:
    """Per point the state of the nearest point at or before it that is known."""
    places = np.maximum.accumulate(np.where(states == OPEN, -1, np.arange(states.shape[-1])), axis=-1)
    return np.where(places < 0, OPEN, np.take_along_axis(states, np.maximum(places, 0), axis=-1))


def exemptions_of(
    line: Line, expression: CurveExpression, frequencies: Reals, plan: DerivationPlan
) -> Iterator[ExemptionOnGrid]:
    """The exemptions of a line for some curves at some points."""
    for exemption in line.exemptions:
        parameter = _WORDS[exemption.word][0]
        if exemption.word == "il_below":
            same = plan.loss(expression.grid)
            found = [same] if same is not None else [loss for loss in [plan.loss()] if loss is not None]
            wanted: list[tuple[int | None, tuple[int, ...]]] = [(None, pairs_of(p)) for p in expression.pairings]
        else:
            found = plan.curves_for(parameter)
            wanted = [(int(e), (int(p),)) for e, p in zip(expression.ends, expression.pairings, strict=True)]
        places = [
            np.array([[find(part, code, end) for code in codes] for end, codes in wanted], np.int64) for part in found
        ]
        # Several grids: the one that has most of the curves in question, at most of the points.
        shared = [
            int((p >= 0).sum()) * np.isin(frequencies, c.grid.frequencies).sum()
            for p, c in zip(places, found, strict=True)
        ]
        best = int(np.argmax(shared)) if found else -1
        nowhere = np.full((len(wanted), 1), -1)
        if best < 0 or not len(found[best].grid.frequencies):
            yield ExemptionOnGrid(exemption, None, nowhere, frequencies)
        else:
            yield ExemptionOnGrid(exemption, found[best], places[best], frequencies)
