"""Two groups compared within strata (cable types, models ...), so that a different mix is no difference.

Mantel-Haenszel difference (Greenland and Robins 1985, abstract read; a sensible average where strata differ) and
directly standardised rates. The variance counts jobs: own derivation, measured in DEVELOPERS.md.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from archive.answers.inference import jobs as of_jobs
from archive.answers.inference.jobs import PRIOR_WEIGHT, JobCounts, Reals, Whole
from archive.answers.inference.special import t_quantile, t_tail


@dataclass(frozen=True)
class StratumCounts:
    """One row per side, stratum and job. side: (m,), 0 for the group, 1 for the comparison; stratum, job: (m,), from
    0; links, passed: (m,), links above 0."""

    side: Whole
    stratum: Whole
    job: Whole
    links: Reals
    passed: Reals


@dataclass(frozen=True)
class Estimate:
    """A difference, its interval of 95 % and the p that it is nought."""

    value: float
    low: float
    high: float
    p: float


@dataclass(frozen=True)
class Standardised:
    """A group against its comparison. crude: as counted; within: Mantel-Haenszel difference within strata; moved:
    crude - within, which is what the mix does; direct: (2,), rates at the mix of all links; compared: share of the
    group's links in strata that both have; strata: how many both have."""

    crude: Estimate
    within: Estimate
    moved: Estimate
    direct: tuple[float, float]
    compared: float
    strata: int

    @property
    def reversed(self) -> bool:
        """Whether the order turns round within strata; its p is `within.p`."""
        return self.crude.value * self.within.value < 0


def standardised(counts: StratumCounts) -> Standardised | None:
    """The comparison; None where no stratum has links of both sides."""
    strata = int(counts.stratum.max(initial=-1)) + 1
    cell = counts.side * strata + counts.stratum
    n = np.bincount(counts.side * strata + counts.stratum, counts.links, 2 * strata).reshape(2, strata)
    x = np.bincount(cell, counts.passed, 2 * strata).reshape(2, strata)
    both = (n > 0).all(axis=0)
    if not both.any():
        return None
    p = x / np.where(n > 0, n, 1)
    mh = np.where(both, n[0] * n[1] / np.where(n.sum(axis=0) > 0, n.sum(axis=0), 1), 0.0)
    mh /= mh.sum()
    own = n / n.sum(axis=1, keepdims=True)
    all_links = np.where(both, n.sum(axis=0), 0.0)
    all_links /= all_links.sum()
    rho = of_jobs.of_all(JobCounts.of(cell, counts.links, counts.passed, 2 * strata))
    number = len(np.unique(counts.side * (int(counts.job.max()) + 1) + counts.job))
    freedom = max(1.0, number - 2 + PRIOR_WEIGHT)
    pooled = x.sum(axis=0) / np.where(n.sum(axis=0) > 0, n.sum(axis=0), 1)
    spread = np.sqrt(pooled * (1 - pooled))

    def estimate(weights: Any) -> Estimate:
        value = float((weights[0] * p[0]).sum() - (weights[1] * p[1]).sum())
        variance = sum(_variance(counts, side, weights[side], n[side], spread, float(rho.value)) for side in (0, 1))
        return _estimate(value, float(np.sqrt(variance)), freedom)

    return Standardised(
        estimate(own),
        estimate(np.stack([mh, mh])),
        estimate(own - mh),
        (float((all_links * p[0]).sum()), float((all_links * p[1]).sum())),
        float(n[0][both].sum() / n[0].sum()),
        int(both.sum()),
    )


def _variance(counts: StratumCounts, side: int, weight: Reals, n: Reals, spread: Reals, rho: float) -> float:
    """(1 - rho) sum u^2 s^2 N + rho sum over jobs of (sum u s n)^2, u = weight / N."""
    u = weight / np.where(n > 0, n, 1) * spread
    alone = float((u * u * n).sum())
    here = counts.side == side
    in_job = np.bincount(counts.job[here], u[counts.stratum[here]] * counts.links[here])
    return (1 - rho) * alone + rho * float((in_job * in_job).sum())


def _estimate(value: float, error: float, freedom: float) -> Estimate:
    if error <= 0:
        return Estimate(value, value, value, 1.0)
    half = t_quantile(0.975, freedom) * error
    return Estimate(value, max(-1.0, value - half), min(1.0, value + half), 2 * t_tail(abs(value) / error, freedom))
