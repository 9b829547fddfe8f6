"""Drift of an instrument told apart from cable and crew: one least squares over the median margins of jobs."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from archive.answers.inference.jobs import Reals, Whole
from archive.answers.inference.special import t_quantile, t_tail

TOLD = 0.001
"""p below which a drift is told, looked at each month anew."""


@dataclass(frozen=True)
class JobMargins:
    """One row per job, unit, crew and lot: margin (m,), median margin in dB; months (m,), since calibration or a day;
    unit, crew, lot: (m,), numbers from 0."""

    margin: Reals
    months: Reals
    unit: Whole
    crew: Whole
    lot: Whole


@dataclass(frozen=True)
class Slope:
    """Of one unit, against the median unit: slope, low, high in dB a month, p; None where it cannot be told.

    apart: whether its slope can be told from the crews and lots, by the rank of the model.
    """

    unit: int
    slope: float | None
    low: float | None
    high: float | None
    p: float | None
    own: float | None
    error: float | None


def slopes(jobs: JobMargins) -> list[Slope]:
    """Slope of every unit against the median slope of all.

    Columns: unit, unit x months, crew, lot; one level of crew and lot dropped; jobs count alike. A unit whose slope
    cannot be estimated (its column is a sum of others) has None.
    """
    units = int(jobs.unit.max(initial=-1)) + 1
    months = jobs.months - jobs.months.mean()
    own = np.eye(units)[jobs.unit]
    columns = [own, own * months[:, None]]
    for levels in (jobs.crew, jobs.lot):
        columns.append(np.eye(int(levels.max(initial=0)) + 1)[levels][:, 1:])
    x = np.concatenate(columns, axis=1)
    inverse = np.linalg.pinv(x.T @ x, hermitian=True, rcond=1e-10)
    rank = int(np.linalg.matrix_rank(x))
    freedom = len(x) - rank
    if freedom < 1 or units < 2:
        return [Slope(u, None, None, None, None, None, None) for u in range(units)]
    b = inverse @ (x.T @ jobs.margin)
    rest = jobs.margin - x @ b
    variance = float(rest @ rest) / freedom
    at = np.arange(units, 2 * units)
    # estimable: the row of the projection onto the row space is the unit vector of this slope
    seen = inverse @ (x.T @ x)
    known = np.abs(seen[at] - np.eye(x.shape[1])[at]).max(axis=1) < 1e-6
    covariance = inverse[np.ix_(at, at)] * variance
    slope = b[at]
    out: list[Slope | None] = [None] * units
    good = np.flatnonzero(known)
    if len(good) >= 2:
        d, errors = _against_median(slope[good], covariance[np.ix_(good, good)])
        t = t_quantile(0.975, freedom)
        for u, value, error in zip(good.tolist(), d.tolist(), errors.tolist(), strict=True):
            p = 2 * t_tail(abs(value) / error, freedom) if error > 0 else 1.0
            out[u] = Slope(u, value, value - t * error, value + t * error, p, float(slope[u]), error)
    return [s or Slope(u, None, None, None, None, None, None) for u, s in enumerate(out)]


def _against_median(slope: Reals, covariance: Any) -> tuple[Reals, Reals]:
    """Slopes less their median, and errors: those against the mean of the others, widened for a median of them."""
    u = len(slope)
    contrast = np.eye(u) - (1 - np.eye(u)) / (u - 1)
    wider = (1 + 1.57 / (u - 1)) / (1 + 1 / (u - 1))
    variance = np.diag(contrast @ covariance @ contrast.T) * wider
    return slope - np.median(slope), np.sqrt(np.maximum(variance, 0))


def months_needed(loss: float, between: float, per_month: float) -> float:
    """Months until a drift of `loss` dB a month is told in four of five cases: 1.1 (12 (4.13 s / d)^2 / m)^(1/3).

    between: standard deviation of job medians in dB; per_month: jobs of the unit a month.
    """
    return float(1.1 * (12 * (4.13 * between / loss) ** 2 / per_month) ** (1 / 3))
