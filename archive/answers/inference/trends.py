"""Rates over time: a chart whose links come in jobs, a smoothed line that sees slow change, one change point."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np

from archive.answers.inference import jobs as of_jobs
from archive.answers.inference.differ import SHUFFLES, seed_of
from archive.answers.inference.jobs import JobCounts, Reals
from archive.answers.inference.special import t_quantile

POINT = 0.99865
"""One-sided share within the limits of a point: three standard deviations."""
SMOOTHING, EWMA_LIMIT = 0.2, 2.86
"""Weight of the newest period, and the limit in standard deviations (Lucas and Saccucci 1990; 2.86 from memory)."""
LEAST_PERIODS, LEAST_JOBS = 6, 10


@dataclass(frozen=True)
class Chart:
    """Periods with tests in order. rate, links: (periods,); centre: rate of all; low, high: (periods,), limits; u:
    (periods,), distance from the centre in standard errors; ewma, ewma_limit: (periods,); judged: whether there are
    enough periods and jobs for limits at all."""

    rate: Reals
    links: Reals
    centre: float
    low: Reals
    high: Reals
    u: Reals
    ewma: Reals
    ewma_limit: Reals
    judged: bool

    @property
    def outside(self) -> Any:
        """(periods,), whether a point lies outside its limits."""
        return (self.rate < self.low) | (self.rate > self.high) if self.judged else np.zeros(len(self.u), np.bool_)

    @property
    def drifted(self) -> Any:
        """(periods,), whether the smoothed line lies outside its limit."""
        return np.abs(self.ewma) > self.ewma_limit if self.judged else np.zeros(len(self.u), np.bool_)


def chart(jobs: JobCounts) -> Chart:
    """The chart of periods, given as groups in order of time; each must have a link."""
    of, rho = of_jobs.sums(jobs), of_jobs.of_all(jobs)
    a = of_jobs.arcsines(of.rate, of.links, of.job_size, float(rho.value))
    centre = float((a.weight * a.value).sum() / a.weight.sum())
    u = (a.value - centre) * np.sqrt(a.weight)
    t = t_quantile(POINT, float(rho.freedom))
    half = t / np.sqrt(a.weight)
    low = np.sin(np.maximum(centre - half, 0)) ** 2
    high = np.where(centre + half >= math.pi / 2, 1.0, np.sin(np.minimum(centre + half, math.pi / 2)) ** 2)
    smooth, e = np.zeros(len(u)), 0.0
    for i, value in enumerate(u.tolist()):
        e = (1 - SMOOTHING) * e + SMOOTHING * value
        smooth[i] = e
    step = np.arange(1, len(u) + 1)
    limit = EWMA_LIMIT * np.sqrt(SMOOTHING / (2 - SMOOTHING) * (1 - (1 - SMOOTHING) ** (2 * step)))
    enough = len(u) >= LEAST_PERIODS and len(jobs.links) >= LEAST_JOBS
    return Chart(of.rate, of.links, math.sin(centre) ** 2, low, high, u, smooth, limit, enough)


@dataclass(frozen=True)
class ChangePoint:
    """The likeliest change. period: the first of the new level; before, after: rates; p: by shuffling jobs."""

    period: int
    before: float
    after: float
    p: float


def change(jobs: JobCounts, shuffles: int = SHUFFLES) -> ChangePoint | None:
    """The largest step between all before and all after, among all splits; None under LEAST_PERIODS or LEAST_JOBS."""
    if jobs.groups < LEAST_PERIODS or len(jobs.links) < LEAST_JOBS:
        return None
    rho = float(of_jobs.of_all(jobs).value)
    order = np.argsort(jobs.group, kind="stable")
    n, x = jobs.links[order], jobs.passed[order]
    starts = np.searchsorted(jobs.group[order], np.arange(jobs.groups))
    found, rates = _splits(n[None], x[None], starts, rho)
    at = int(found[0].argmax())
    draw = np.random.default_rng(seed_of(jobs.group, n, x))
    most = np.empty(shuffles)
    for i in range(shuffles):
        where = draw.permutation(len(n))
        most[i] = _splits(n[where][None], x[where][None], starts, rho)[0].max()
    p = (int((most >= found[0, at] - 1e-9).sum()) + 1) / (shuffles + 1)
    return ChangePoint(at + 1, float(rates[0][0, at]), float(rates[1][0, at]), p)


def _splits(n: Any, x: Any, starts: Any, rho: float) -> tuple[Any, tuple[Any, Any]]:
    """Size of the step at every split, (1, periods - 1), and the rates before and after."""
    sums = [np.add.reduceat(v, starts, axis=1) for v in (n, x, n * n)]
    before = [np.cumsum(s, axis=1)[:, :-1] for s in sums]
    after = [s.sum(axis=1, keepdims=True) - b for s, b in zip(sums, before, strict=True)]
    a, b = (of_jobs.arcsines(side[1] / side[0], side[0], side[2] / side[0], rho) for side in (before, after))
    z = np.abs(a.value - b.value) / np.sqrt(1 / a.weight + 1 / b.weight)
    return z, (before[1] / before[0], after[1] / after[0])
