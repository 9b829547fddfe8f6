"""Rates over time: a chart whose links come in jobs, a smoothed line that sees slow change, one change point.

Limits, smoothed line and change are each judged by shuffling whole jobs over the periods, so that of charts on which
nothing changes one in twenty says that something does, whatever the tails of the rates of jobs are.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np

from archive.answers.inference import jobs as of_jobs
from archive.answers.inference.differ import SHUFFLES, seed_of
from archive.answers.inference.jobs import JobCounts, Reals

TOLD = 0.05
"""Share of charts without any change on which a point, the smoothed line or a change point is told: of each."""
SMOOTHING = 0.2
"""Weight of the newest period (Lucas and Saccucci 1990)."""
LEAST_PERIODS, LEAST_JOBS = 6, 10


@dataclass(frozen=True)
class Chart:
    """Periods with tests in order. rate, links: (periods,); centre: rate of all; low, high: (periods,), limits; u:
    (periods,), distance from the centre in standard errors; most: what of it the limits allow; ewma, ewma_limit:
    (periods,); judged: whether there are enough periods and jobs for limits at all."""

    rate: Reals
    links: Reals
    centre: float
    low: Reals
    high: Reals
    u: Reals
    most: float
    ewma: Reals
    ewma_limit: Reals
    judged: bool

    @property
    def outside(self) -> Any:
        """(periods,), whether a point lies outside its limits."""
        return np.abs(self.u) > self.most if self.judged else np.zeros(len(self.u), np.bool_)

    @property
    def drifted(self) -> Any:
        """(periods,), whether the smoothed line lies outside its limit."""
        return np.abs(self.ewma) > self.ewma_limit if self.judged else np.zeros(len(self.u), np.bool_)


@dataclass(frozen=True)
class ChangePoint:
    """The likeliest change. period: the first of the new level; before, after: rates; p: by shuffling jobs."""

    period: int
    before: float
    after: float
    p: float


class PeriodJobs:
    """Jobs of periods in order of time, and the same jobs shuffled over the periods.

    jobs: periods as groups; each must have a link. shuffles: how often.
    """

    def __init__(self, jobs: JobCounts, shuffles: int = SHUFFLES) -> None:
        self._rho = float(of_jobs.of_all(jobs).value)
        order = np.argsort(jobs.group, kind="stable")
        n, x = jobs.links[order], jobs.passed[order]
        starts = np.searchsorted(jobs.group[order], np.arange(jobs.groups))
        self._sums = self._of(n, x, starts)
        self.judged = jobs.groups >= LEAST_PERIODS and len(n) >= LEAST_JOBS
        draw = np.random.default_rng(seed_of(jobs.group, n, x))
        made = np.empty((3, shuffles if self.judged else 0, jobs.groups))
        for i in range(made.shape[1]):
            where = draw.permutation(len(n))
            made[:, i] = self._of(n[where], x[where], starts)[:, 0]
        self._shuffled = made

    @staticmethod
    def _of(n: Any, x: Any, starts: Any) -> Any:
        """Links, passes and squared job sizes by period, (3, 1, periods)."""
        return np.stack([np.add.reduceat(v, starts) for v in (n, x, n * n)])[:, None]

    def chart(self) -> Chart:
        """Points with limits that 95 % of charts of like jobs keep within, and the smoothed line."""
        centre, u, weight = (a[0] for a in self._distances(self._sums))
        smooth = _smoothed(u[None])[0]
        step = np.arange(1, len(u) + 1)
        shape = np.sqrt(SMOOTHING / (2 - SMOOTHING) * (1 - (1 - SMOOTHING) ** (2 * step)))
        most, drifts = math.inf, math.inf
        if self.judged:
            shuffled = self._distances(self._shuffled)[1]
            most = float(np.quantile(np.abs(shuffled).max(axis=1), 1 - TOLD))
            drifts = float(np.quantile((np.abs(_smoothed(shuffled)) / shape).max(axis=1), 1 - TOLD))
        n, x = self._sums[0, 0], self._sums[1, 0]
        low, high = (_rate(centre[0] + side * most / np.sqrt(weight), (weight - 2) / 4) for side in (-1, 1))
        return Chart(x / n, n, math.sin(centre[0]) ** 2, low, high, u, most, smooth, drifts * shape, self.judged)

    def _distances(self, sums: Any) -> tuple[Any, Any, Any]:
        """Centre, (charts, 1), distances from it in standard errors and weights, (charts, periods)."""
        a = of_jobs.arcsines(sums[1] / sums[0], sums[0], sums[2] / sums[0], self._rho)
        centre = (a.weight * a.value).sum(axis=1, keepdims=True) / a.weight.sum(axis=1, keepdims=True)
        return centre, (a.value - centre) * np.sqrt(a.weight), a.weight

    def change(self) -> ChangePoint | None:
        """The largest step between all before and all after, among all splits; None under LEAST_PERIODS or
        LEAST_JOBS."""
        if not self.judged:
            return None
        found, before, after = self._splits(self._sums)
        at = int(found[0].argmax())
        most = self._splits(self._shuffled)[0].max(axis=1)
        p = (int((most >= found[0, at] - 1e-9).sum()) + 1) / (len(most) + 1)
        return ChangePoint(at + 1, float(before[0, at]), float(after[0, at]), p)

    def _splits(self, sums: Any) -> tuple[Any, Any, Any]:
        """Size of the step at every split, and the rates before and after, (charts, periods - 1) each."""
        before = np.cumsum(sums, axis=2)[:, :, :-1]
        after = sums.sum(axis=2, keepdims=True) - before
        a, b = (of_jobs.arcsines(s[1] / s[0], s[0], s[2] / s[0], self._rho) for s in (before, after))
        z = np.abs(a.value - b.value) / np.sqrt(1 / a.weight + 1 / b.weight)
        return z, before[1] / before[0], after[1] / after[0]


def _rate(arcsine: Any, effective: Any) -> Any:
    """The rate whose arcsine value over so many effective links this is, cut to 0 and 1."""
    squared = np.sin(np.clip(arcsine, 0, math.pi / 2)) ** 2
    return np.clip((squared * (effective + 0.75) - 0.375) / effective, 0, 1)


def _smoothed(u: Any) -> Any:
    """The exponentially smoothed line of each chart, (charts, periods)."""
    out, e = np.zeros_like(u), np.zeros(len(u))
    for i in range(u.shape[1]):
        e = (1 - SMOOTHING) * e + SMOOTHING * u[:, i]
        out[:, i] = e
    return out
