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

    own: its slope by itself; error: standard error of the difference.
    """

    unit: int
    slope: float | None
    low: float | None
    high: float | None
    p: float | None
    own: float | None
    error: float | None


@dataclass(frozen=True)
class _Fit:
    """A least-squares fit. b: coefficients; inverse: pseudo-inverse of X'X; known: which coefficients are estimable;
    variance, freedom: of the residuals; units: how many; crews: how many have a column."""

    b: Reals
    inverse: Any
    known: Any
    variance: float
    freedom: int
    units: int
    crews: int


def _fit(jobs: JobMargins) -> _Fit | None:
    units, crews = int(jobs.unit.max(initial=-1)) + 1, int(jobs.crew.max(initial=0))
    months = jobs.months - jobs.months.mean()
    own = np.eye(units)[jobs.unit]
    columns = [own, own * months[:, None]]
    for levels in (jobs.crew, jobs.lot):
        columns.append(np.eye(int(levels.max(initial=0)) + 1)[levels][:, 1:])
    x = np.concatenate(columns, axis=1)
    square = x.T @ x
    inverse = np.linalg.pinv(square, hermitian=True, rcond=1e-10)
    freedom = len(x) - int(np.linalg.matrix_rank(square, hermitian=True))
    if freedom < 1 or units < 2:
        return None
    b = inverse @ (x.T @ jobs.margin)
    rest = jobs.margin - x @ b
    # estimable: its row of the projection onto the row space is the unit vector
    known = np.abs(inverse @ square - np.eye(x.shape[1])).max(axis=1) < 1e-6
    return _Fit(b, inverse, known, float(rest @ rest) / freedom, freedom, units, crews)


def slopes(jobs: JobMargins) -> list[Slope]:
    """Slope of every unit against the median slope of all.

    Columns: unit, unit x months, crew, lot; one level of crew and lot dropped; jobs count alike. A unit whose slope
    cannot be estimated (its column is a sum of others) has None.
    """
    units = int(jobs.unit.max(initial=-1)) + 1
    fit = _fit(jobs)
    if fit is None:
        return [Slope(u, None, None, None, None, None, None) for u in range(units)]
    at = np.arange(units, 2 * units)
    slope = fit.b[at]
    covariance = fit.inverse[np.ix_(at, at)] * fit.variance
    out: list[Slope | None] = [None] * units
    good = np.flatnonzero(fit.known[at])
    if len(good) >= 2:
        d, errors = _against_median(slope[good], covariance[np.ix_(good, good)])
        t = t_quantile(0.975, fit.freedom)
        for u, value, error in zip(good.tolist(), d.tolist(), errors.tolist(), strict=True):
            p = 2 * t_tail(abs(value) / error, fit.freedom) if error > 0 else 1.0
            out[u] = Slope(u, value, value - t * error, value + t * error, p, float(slope[u]), error)
    return [s or Slope(u, None, None, None, None, None, None) for u, s in enumerate(out)]


@dataclass(frozen=True)
class CellEffect:
    """Effect of one lot in dB against the first, with its standard error; error 0: it cannot be told."""

    cell: int
    effect: float
    error: float


def cells(jobs: JobMargins) -> list[CellEffect]:
    """Effect of every lot, with units, their slopes and crews accounted for. The first lot is the zero."""
    fit = _fit(jobs)
    if fit is None:
        return []
    first = 2 * fit.units + fit.crews
    listed = [CellEffect(0, 0.0, float(np.sqrt(fit.variance / max(1, int((jobs.lot == 0).sum())))))]
    for cell in range(1, int(jobs.lot.max(initial=0)) + 1):
        at = first + cell - 1
        error = float(np.sqrt(max(0.0, fit.inverse[at, at] * fit.variance))) if fit.known[at] else 0.0
        listed.append(CellEffect(cell, float(fit.b[at]), error))
    return listed


def _against_median(slope: Reals, covariance: Any) -> tuple[Reals, Reals]:
    """Slopes less their median, and errors: those against the mean of the others, widened for a median of them."""
    u = len(slope)
    contrast = np.eye(u) - (1 - np.eye(u)) / (u - 1)
    wider = (1 + 1.57 / (u - 1)) / (1 + 1 / (u - 1))
    variance = np.diag(contrast @ covariance @ contrast.T) * wider
    return slope - np.median(slope), np.sqrt(np.maximum(variance, 0))
