"""Units against each other on the same links: cable, crew and way of laying are then the same, whatever they are."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from archive.answers.inference.jobs import Reals, Whole
from archive.answers.inference.special import t_quantile

LEAST_FREEDOM = 6
"""Fewer degrees of freedom say nothing: the variance would be a guess (own choice)."""


@dataclass(frozen=True)
class LinkPairs:
    """One row per two jobs whose units tested some of the same links. difference: (m,), median of the margin of a unit
    less that of the other on the same link, dB; unit, other: (m,), their numbers; months, other_months: (m,), of their
    jobs, on the axis of drift.JobMargins."""

    difference: Reals
    unit: Whole
    other: Whole
    months: Reals
    other_months: Reals


@dataclass(frozen=True)
class PairSlope:
    """Slope of a unit against the mean of the other units that tested links of its own, dB a month, with its interval
    of 95 %."""

    slope: float
    low: float
    high: float


@dataclass(frozen=True)
class PairedSlopes:
    """What pairs say of the slopes of all units. precision: (units, units); weighed: (units,), precision x slopes.
    Nothing is said of the common slope of all, which no pair shows. freedom: of the residuals."""

    precision: Any
    weighed: Any
    freedom: int

    def against_others(self) -> list[PairSlope | None]:
        """Of each unit; None where pairs do not join it to the others."""
        units = len(self.weighed)
        some = np.flatnonzero(np.diag(self.precision) > 1e-9)
        out: list[PairSlope | None] = [None] * units
        if len(some) < 2:
            return out
        precision = self.precision[np.ix_(some, some)]
        covariance = np.linalg.pinv(precision, hermitian=True, rcond=1e-9)
        contrast = np.eye(len(some)) - (1 - np.eye(len(some))) / (len(some) - 1)
        joined = np.abs(contrast @ covariance @ precision - contrast).max(axis=1) < 1e-6
        slope = contrast @ covariance @ self.weighed[some]
        half = t_quantile(0.975, self.freedom) * np.sqrt(np.diag(contrast @ covariance @ contrast.T))
        for i in np.flatnonzero(joined).tolist():
            b, h = float(slope[i]), float(half[i])
            out[int(some[i])] = PairSlope(b, b - h, b + h)
        return out


def paired_slopes(pairs: LinkPairs, units: int) -> PairedSlopes | None:
    """Least squares of the differences on the levels and slopes of units; rows count alike.

    None where too few rows are there. The variance is widened by f / (f - 2), as a t of f degrees of freedom is.
    """
    own, other = np.eye(units)[pairs.unit], np.eye(units)[pairs.other]
    level = own - other
    slope = own * pairs.months[:, None] - other * pairs.other_months[:, None]
    x, y = np.concatenate([level, slope], axis=1), pairs.difference
    freedom = len(y) - (int(np.linalg.matrix_rank(x)) if len(y) else 0)
    if freedom < LEAST_FREEDOM:
        return None
    square, right = x.T @ x, x.T @ y
    rest = y - x @ (np.linalg.pinv(square, hermitian=True, rcond=1e-10) @ right)
    variance = max(float(rest @ rest), 1e-12) / freedom * freedom / (freedom - 2)
    back = square[units:, :units] @ np.linalg.pinv(square[:units, :units], hermitian=True, rcond=1e-10)
    precision = (square[units:, units:] - back @ square[:units, units:]) / variance
    return PairedSlopes(precision, (right[units:] - back @ right[:units]) / variance, freedom)


def joined(slope: Any, covariance: Any, known: Sequence[int], pairs: PairedSlopes) -> tuple[Any, Any, Any]:
    """Slopes (units,), their covariance, and which are known, from two sources that do not rest on each other.

    slope, covariance: of all units from elsewhere, of which only those of the units `known` can be estimated.
    """
    precision, weighed = pairs.precision.copy(), pairs.weighed.copy()
    at = np.asarray(known, np.int64)
    if len(at):
        sure = np.linalg.inv(covariance[np.ix_(at, at)])
        precision[np.ix_(at, at)] += sure
        weighed[at] += sure @ slope[at]
    made = np.linalg.pinv(precision, hermitian=True, rcond=1e-10)
    sound = np.abs(precision @ made - np.eye(len(weighed))).max(axis=1) < 1e-6
    return made @ weighed, made, sound
