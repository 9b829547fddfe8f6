"""Many groups side by side: shrunken rates, the funnel of all of them, and what a comparison could have shown."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np

from archive.answers.inference import jobs as of_jobs
from archive.answers.inference.jobs import JobCounts, Reals
from archive.answers.inference.special import normal_quantile, t_quantile

_TAU: Reals = np.linspace(0.0, 0.4, 81)
"""Standard deviations between groups that are tried, on the arcsine scale."""


def shrunken(value: Reals, variance: Reals) -> Reals:
    """Posterior means of group values (groups,) with variances, all drawn towards their common mean.

    Flat prior on the spread between groups (Gelman 2006) over a grid, ends with half weight.
    """
    u = 1 / (variance[None] + _TAU[:, None] ** 2)
    total = u.sum(axis=1)
    mean = (u * value).sum(axis=1) / total
    log = -0.5 * (-np.log(u).sum(axis=1) + np.log(total) + (u * (value - mean[:, None]) ** 2).sum(axis=1))
    chance = np.exp(log - log.max())
    chance[[0, -1]] /= 2
    chance /= chance.sum()
    kept = _TAU[:, None] ** 2 * u
    return (chance[:, None] * (mean[:, None] + kept * (value - mean[:, None]))).sum(axis=0)  # type: ignore[no-any-return]


def shrunken_rates(jobs: JobCounts) -> Reals:
    """Best guess of each group's rate, (groups,); NaN where it has no link. Not to be ranked without intervals."""
    of, rho = of_jobs.sums(jobs), of_jobs.of_all(jobs)
    out = np.full(jobs.groups, np.nan)
    some = of.links > 0
    if some.any():
        a = of_jobs.arcsines(of.rate[some], of.links[some], of.job_size[some], float(rho.value))
        out[some] = np.sin(shrunken(a.value, 1 / a.weight)) ** 2
    return out


@dataclass(frozen=True)
class Funnel:
    """A funnel plot. number, rate: (groups,), effective links and rate of each; centre: rate of all; correlation and
    freedom: of the limits; spread: variance between groups on the arcsine scale, for the outer limits."""

    number: Reals
    rate: Reals
    centre: float
    freedom: float
    spread: float

    def limits(self, number: Any, share: float, *, wider: bool = False) -> tuple[Any, Any]:
        """Between which a share of like groups of that many effective links lie. wider: with ordinary spread too.

        Spiegelhalter 2005, Statistics in Medicine 24, with arcsine values.
        """
        n = np.asarray(number, np.float64)
        t = t_quantile(0.5 + share / 2, self.freedom)
        half = t * np.sqrt(1 / (4 * n + 2) + (self.spread if wider else 0.0))
        middle = math.asin(math.sqrt(self.centre))
        return np.sin(np.maximum(middle - half, 0)) ** 2, np.sin(np.minimum(middle + half, math.pi / 2)) ** 2


def funnel(jobs: JobCounts) -> Funnel:
    """The funnel of all groups."""
    of, rho = of_jobs.sums(jobs), of_jobs.of_all(jobs)
    a = of_jobs.arcsines(of.rate, of.links, of.job_size, float(rho.value))
    w = np.where(of.links > 0, a.weight, 0.0)
    centre = float((w * a.value).sum() / w.sum())
    z = ((a.value - centre) * np.sqrt(w))[w > 0]
    cut = np.clip(z, *np.quantile(z, [0.1, 0.9]))
    phi, k = float((cut * cut).mean()), len(z)
    scale = w.sum() - (w * w).sum() / w.sum()
    spread = max(0.0, (k * phi - (k - 1)) / scale) if scale > 0 else 0.0
    return Funnel(a.number, of.rate, math.sin(centre) ** 2, float(rho.freedom), float(spread))


def detectable(rate: float, one: float, other: float, freedom: float, groups: int = 2) -> float:
    """The lower rate that is told from `rate` in at least four of five cases, by effective numbers of both sides.

    groups: how many are compared at once. h = (t + z0.80) sqrt(1/4n1 + 1/4n2) on the arcsine scale.
    """
    if one <= 0 or other <= 0:
        return 0.0
    share = 0.975 if groups <= 2 else 1 - 0.05 / (2 * groups)
    h = (t_quantile(share, freedom) + normal_quantile(0.8)) * math.sqrt(1 / (4 * one) + 1 / (4 * other))
    return math.sin(max(0.0, math.asin(math.sqrt(rate)) - h)) ** 2
