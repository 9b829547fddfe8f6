"""Drift of an instrument told apart from cable and crew: one least squares over the median margins of jobs."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from archive.answers.inference.courses import solved
from archive.answers.inference.jobs import Reals, Whole
from archive.answers.inference.same_links import LinkPairs, joined, paired_slopes
from archive.answers.inference.special import t_quantile, t_tail
from archive.answers.statistics import holm

TOLD = 0.05
"""p, as `corrected` makes it, below which a drift is told."""
LOOKS = 8.0
"""How many independent looks those of each month from the sixth to the twenty-fourth are worth: as measured,
DEVELOPERS.md."""
HELD, TYPICAL_SCATTER = 0.005, 0.2
"""Slopes of units that are not told are held near nought as if drawn with this spread, in dB a month, beside a scatter
of jobs in dB (own choice)."""


@dataclass(frozen=True)
class JobMargins:
    """One row per job, unit, crew and lot: margin (m,), median margin in dB; months (m,), since calibration or a day;
    unit, crew, lot: (m,), numbers from 0. date: (m,), the month of the calendar, where the lots are kinds of cable
    whose level changes over time; None where they are what they are called."""

    margin: Reals
    months: Reals
    unit: Whole
    crew: Whole
    lot: Whole
    date: Whole | None = None


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


def _columns(jobs: JobMargins) -> tuple[Any, int, int]:
    """The columns of a fit: unit, unit x months, crew, lot, without one level of crew and lot; how many units, and
    where the lots begin."""
    units = int(jobs.unit.max(initial=-1)) + 1
    own = np.eye(units)[jobs.unit]
    columns = [own, own * (jobs.months - jobs.months.mean())[:, None]]
    for levels in (jobs.crew, jobs.lot):
        columns.append(np.eye(int(levels.max(initial=0)) + 1)[levels][:, 1:])
    return np.concatenate(columns, axis=1), units, sum(c.shape[1] for c in columns[:3])


def slopes(jobs: JobMargins, pairs: LinkPairs | None = None) -> list[Slope]:
    """Slope of every unit against the median slope of all, with the level of each lot wandering where `date` is given.

    pairs: what units found on the same links, which counts as well. Jobs count alike. A unit whose slope cannot be
    estimated (its column is a sum of others) has None.
    """
    x, units, _ = _columns(jobs)
    fit = None if units < 2 else solved(x, jobs.margin, None if jobs.date is None else jobs.lot, jobs.date)
    if fit is None:
        return [Slope(u, None, None, None, None, None, None) for u in range(units)]
    at = np.arange(units, 2 * units)
    slope = fit.b[at]
    covariance = fit.inverse[np.ix_(at, at)] * fit.variance
    known = np.abs(fit.row_space - np.eye(x.shape[1])).max(axis=1)[at] < 1e-6
    found = None if pairs is None else paired_slopes(pairs, units)
    if found is not None:
        slope, covariance, known = joined(slope, covariance, np.flatnonzero(known).tolist(), found)
    out: list[Slope | None] = [None] * units
    good = np.flatnonzero(known)
    if len(good) >= 2:
        d, errors = _against_median(slope[good], covariance[np.ix_(good, good)])
        t = t_quantile(0.975, fit.freedom)
        for u, value, error in zip(good.tolist(), d.tolist(), errors.tolist(), strict=True):
            p = 2 * t_tail(abs(value) / error, fit.freedom) if error > 0 else 1.0
            out[u] = Slope(u, value, value - t * error, value + t * error, p, float(slope[u]), error)
    return [s or Slope(u, None, None, None, None, None, None) for u, s in enumerate(out)]


def corrected(p: Sequence[float | None]) -> list[float | None]:
    """The p of units so that of archives in which no unit drifts one in twenty tells any: for how many units there are
    (Holm) and for looks at the archive month after month."""
    known = [v for v in p if v is not None]
    made = iter(holm([min(1.0, LOOKS * v) for v in known]))
    return [None if v is None else next(made) for v in p]


@dataclass(frozen=True)
class CellEffect:
    """Effect of one lot in dB against the median lot, with its standard error; error 0: it cannot be told."""

    cell: int
    effect: float
    error: float


def cells(jobs: JobMargins, drifting: Sequence[int] = ()) -> list[CellEffect]:
    """Effect of every lot, with units and crews accounted for, and the slopes of the units that drift.

    Slopes of the others are held near nought: left free, they could be any trend that all units share, and no lot
    could be told from another of a different year.
    """
    x, units, first = _columns(jobs)
    lots = int(jobs.lot.max(initial=-1)) + 1
    held = np.zeros(x.shape[1])
    held[units : 2 * units] = np.where(np.isin(np.arange(units), list(drifting)), 0.0, (TYPICAL_SCATTER / HELD) ** 2)
    fit = solved(x, jobs.margin, held=held)
    if fit is None or lots < 2:
        return []
    contrast = np.zeros((lots, len(fit.b)))
    contrast[:, first:] = (np.eye(lots) - (1 - np.eye(lots)) / (lots - 1))[:, 1:]  # the first lot is the zero
    known = np.abs(contrast @ fit.row_space - contrast).max(axis=1) < 1e-6
    variance = np.einsum("ij,jk,ik->i", contrast, fit.inverse, contrast) * fit.variance
    effect = np.concatenate([[0.0], fit.b[first:]])
    error = np.where(known, np.sqrt(np.maximum(variance, 0)), 0.0)
    middle = float(np.median(effect[known])) if known.any() else 0.0
    return [CellEffect(i, float(e) - middle, float(s)) for i, (e, s) in enumerate(zip(effect, error, strict=True))]


def _against_median(slope: Reals, covariance: Any) -> tuple[Reals, Reals]:
    """Slopes less their median, and errors: those against the mean of the others, widened for a median of them."""
    u = len(slope)
    contrast = np.eye(u) - (1 - np.eye(u)) / (u - 1)
    wider = (1 + 1.57 / (u - 1)) / (1 + 1 / (u - 1))
    variance = np.diag(contrast @ covariance @ contrast.T) * wider
    return slope - np.median(slope), np.sqrt(np.maximum(variance, 0))
