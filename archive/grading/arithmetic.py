"""Arithmetic of curves: power sums, bounds, worst points. Everything here is numpy over the last axis.

Shapes: curves are (..., points), limit lines (points,). Values are dB unless a line is in another unit; losses
and isolations are positive.

Certainty. A value is known exactly, or only as a bound (`>70`), or not at all. `Values` holds the lowest and the
highest that it can be; where every point is exact, both are the same array and cost nothing.

Tolerance. A point that lies on its limit passes. Logarithms carry noise of about 1e-13 dB, which differs from
processor to processor. So power sums and means are put on a grid of 2^-30 (9.3e-10) dB, on which equal values are
equal; a margin counts as negative from EXACT = 1e-9 dB on; and every number that is printed is rounded to nine
decimals. No export prints steps below 1e-4 dB.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

Reals = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

EXACT = 1e-9
"""Smallest margin, dB (ns, ohm, m, %), that is distinguished from none."""

DECIMALS = 9
"""Decimals of every number that grading states."""

_TO_POWER = -np.log(10.0) / 10.0
# Adding and taking away 1.5 * 2^22 leaves a double of that size's last bit: 2^-30.
_TO_GRID = 1.5 * 2.0**22


@dataclass(frozen=True)
class Values:
    """What is known of each point: lowest and highest value, each (..., points). Exact curves share one array."""

    low: Reals
    high: Reals

    @classmethod
    def exact(cls, values: Reals) -> Values:
        """Values that are all known. values: (..., points), no NaN."""
        return cls(values, values)

    @classmethod
    def bounded(cls, values: Reals, above: Bools, below: Bools) -> Values:
        """NaN in values: nothing is known. above: known only as more than the value; below: as less."""
        nothing = np.isnan(values)
        return cls(
            np.where(nothing | below, -np.inf, values),
            np.where(nothing | above, np.inf, values),
        )

    @property
    def is_exact(self) -> bool:
        """True where every point is known exactly."""
        return bool(self.low is self.high)

    def take(self, index: Any) -> Values:
        """Both arrays indexed."""
        low = self.low[index]
        return Values(low, low if self.is_exact else self.high[index])


def difference(one: Values, other: Values, places: Ints, other_places: Ints) -> Values:
    """SelectedCurves curves minus chosen curves of another: lowest minus highest, highest minus lowest.

    one, other: (records, curves, points); places, other_places: (results,). Returns (records, results, points).
    """
    low = _paired(np.subtract, one.low, other.high, places, other_places)
    if one.is_exact and other.is_exact:
        return Values.exact(low)
    return Values(low, _paired(np.subtract, one.high, other.low, places, other_places))


def total(one: Values, other: Values, places: Ints, other_places: Ints) -> Values:
    """SelectedCurves curves plus chosen curves of another. Shapes as difference."""
    low = _paired(np.add, one.low, other.low, places, other_places)
    if one.is_exact and other.is_exact:
        return Values.exact(low)
    return Values(low, _paired(np.add, one.high, other.high, places, other_places))


def _paired(operation: Any, one: Reals, other: Reals, places: Ints, other_places: Ints) -> Reals:
    # One call per curve of the layout (not per record) writes straight into the result, without copies to choose.
    out = np.empty((one.shape[0], len(places), one.shape[2]))
    for k, (i, j) in enumerate(zip(places.tolist(), other_places.tolist(), strict=True)):
        operation(one[:, i], other[:, j], out=out[:, k])
    return out


def _on_grid(values: Reals) -> Reals:
    """Puts values on the grid of 2^-30, in place."""
    values += _TO_GRID
    values -= _TO_GRID
    return values


def to_power(decibels: Reals) -> Reals:
    """Power ratio of an isolation in dB: 10^(-x/10)."""
    out: Reals = np.multiply(decibels, _TO_POWER)
    np.exp(out, out=out)
    return out


def to_decibels(power: Reals) -> Reals:
    """Isolation in dB of a power ratio: -10 lg p. No power at all is infinite isolation."""
    with np.errstate(divide="ignore"):
        out = np.log10(power)
    out *= -10.0
    return _on_grid(out)


def power_sum(contributors: Values, members: Ints) -> Values:
    """Power sums over chosen curves: -10 lg sum 10^(-x/10).

    contributors: (records, curves, points); members: (sums, contributors of each), indices of curves.
    Returns (records, sums, points). Source: definition of the power sum in every edition since TIA/EIA-568-A;
    handbook check: 40, 45 and 50 dB give 38.489 dB.
    """
    low = _sum(contributors.low, members)
    return Values(low, low if contributors.is_exact else _sum(contributors.high, members))


def _sum(decibels: Reals, members: Ints) -> Reals:
    power = to_power(decibels)
    summed = np.empty((power.shape[0], len(members), power.shape[2]))
    for k, (first, *others) in enumerate(members.tolist()):
        here = summed[:, k]
        here[...] = power[:, first]
        for member in others:
            here += power[:, member]
    return to_decibels(summed)


def mean(curves: Values, members: Ints) -> Values:
    """Mean of dB values over chosen curves, as alien averages over the four pairs are taken. Shapes as power_sum."""
    low = _on_grid(curves.low[..., members, :].mean(axis=-2))
    return Values(low, low if curves.is_exact else _on_grid(curves.high[..., members, :].mean(axis=-2)))


@dataclass(frozen=True)
class WorstCases:
    """Worst cases of curves, each array (...).

    at: point of the smallest margin (-1 where no point is decided), value, margin; value_at and worst_value: point
    and value of the largest of a maximum or the smallest of a minimum parameter (-1, NaN where none is known);
    failed: some point surely misses its limit; undecided: number of points that can neither pass nor fail;
    judged: number of points that counted (not informational).
    """

    at: Ints
    value: Reals
    margin: Reals
    value_at: Ints
    worst_value: Reals
    failed: Bools
    undecided: Ints
    judged: Ints


def worst(
    values: Values, line: Reals, maximum: bool, informational: Bools | None = None, exempt: Bools | None = None
) -> WorstCases:
    """Worst cases of curves against a line.

    values: (..., points); line: (points,) without NaN; maximum: the limit is a maximum; informational: (..., points),
    points that are for information only; exempt: points that may be, so that a value that misses its limit there is
    undecided. Ties go to the lowest frequency.
    """
    if not values.is_exact or exempt is not None:
        return _worst_bounded(values, line, maximum, informational, exempt)
    if informational is None or not informational.any():
        return _worst_exact(values.low, line, maximum)
    # A point that is left out is put where it can be neither the worst margin nor the worst value.
    shown = values.low.copy()
    last = int(np.flatnonzero(informational.reshape(-1, informational.shape[-1]).any(axis=0))[-1]) + 1
    np.copyto(shown[..., :last], -np.inf if maximum else np.inf, where=informational[..., :last])
    found = _worst_exact(shown, line, maximum)
    judged = found.judged - informational[..., :last].sum(axis=-1)
    if judged.all():
        return replace(found, judged=judged)
    some = judged > 0
    return WorstCases(
        np.where(some, found.at, -1),
        np.where(some, found.value, np.nan),
        np.where(some, found.margin, np.nan),
        np.where(some, found.value_at, -1),
        np.where(some, found.worst_value, np.nan),
        found.failed & some,
        found.undecided,
        judged,
    )


def _worst_exact(values: Reals, line: Reals, maximum: bool) -> WorstCases:
    margins = np.subtract(line, values) if maximum else np.subtract(values, line)
    at = margins.argmin(axis=-1)
    value_at = values.argmax(axis=-1) if maximum else values.argmin(axis=-1)
    margin = _pick(margins, at)
    nothing = np.zeros(margin.shape, np.int64)
    return WorstCases(
        at,
        _pick(values, at),
        margin,
        value_at,
        _pick(values, value_at),
        margin < -EXACT,
        nothing,
        np.full(margin.shape, values.shape[-1], np.int64),
    )


def _worst_bounded(
    values: Values, line: Reals, maximum: bool, informational: Bools | None, exempt: Bools | None
) -> WorstCases:
    surely = line - values.high if maximum else values.low - line
    at_best = line - values.low if maximum else values.high - line
    fails = at_best < -EXACT if exempt is None else (at_best < -EXACT) & ~exempt
    passes = surely >= -EXACT
    decided = fails | passes
    counted = np.ones(fails.shape, np.bool_) if informational is None else ~informational
    usable = decided & counted
    margins = np.where(usable, np.where(fails, at_best, surely), np.inf)
    stated = np.where(fails, values.low, values.high) if maximum else np.where(fails, values.high, values.low)
    known = np.where(np.isfinite(values.low), values.low, values.high)
    usable_value = np.isfinite(known) & counted
    value_at = (
        np.where(usable_value, known, -np.inf).argmax(axis=-1)
        if maximum
        else np.where(usable_value, known, np.inf).argmin(axis=-1)
    )
    at = margins.argmin(axis=-1)
    some, some_value = usable.any(-1), usable_value.any(-1)
    return WorstCases(
        np.where(some, at, -1),
        np.where(some, _pick(stated, at), np.nan),
        np.where(some, _pick(margins, at), np.nan),
        np.where(some_value, value_at, -1),
        np.where(some_value, _pick(known, value_at), np.nan),
        np.asarray((fails & counted).any(-1)),
        (counted & ~decided).sum(-1),
        counted.sum(-1),
    )


def _pick(values: Reals, at: Ints) -> Reals:
    picked: Reals = np.take_along_axis(values, at[..., None], axis=-1)[..., 0]
    return picked


def rounded(values: Reals) -> Reals:
    """To nine decimals, without minus zero, so that the last bit of a logarithm never shows."""
    out = np.array(values, np.float64)
    near = np.abs(out) < 1e6  # beyond, nine decimals are less than the last bit, and rounding may overflow
    out[near] = np.round(out[near], DECIMALS) + 0.0
    return out
