"""Groups compared with all others within strata (cable types, models ...), so that a different mix is no difference.

Mantel-Haenszel difference (Greenland and Robins 1985, abstract read; a sensible average where strata differ) and
directly standardised rates. The variance counts jobs: own derivation, measured in DEVELOPERS.md.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from archive.answers.inference import jobs as of_jobs
from archive.answers.inference.jobs import PRIOR_WEIGHT, Reals, Scatter, Whole
from archive.answers.inference.special import t_quantile, t_tail

_TOGETHER = 1 << 20
"""Numbers that are held at once: of groups and strata, of strata and jobs, of groups and jobs."""


@dataclass(frozen=True)
class StratumCounts:
    """One row per group, stratum and job. group, stratum, job: (m,), from 0; links, passed: (m,), links above 0."""

    group: Whole
    stratum: Whole
    job: Whole
    links: Reals
    passed: Reals

    def jobs_of_sides(self) -> Whole:
        """(2, groups), how many jobs a group has, and how many have links of other groups."""
        groups, jobs = (int(v.max(initial=-1)) + 1 for v in (self.group, self.job))
        pairs = np.unique(self.group * jobs + self.job)
        own, job = np.bincount(pairs // max(jobs, 1), minlength=groups), pairs % max(jobs, 1)
        alone = np.bincount(job, minlength=jobs)[job] == 1
        only = np.bincount((pairs // max(jobs, 1))[alone], minlength=groups)
        return np.stack([own, len(np.unique(job)) - only]).astype(np.int64)


@dataclass(frozen=True)
class Estimate:
    """A difference with its standard error and degrees of freedom."""

    value: float
    error: float
    freedom: float

    @property
    def low(self) -> float:
        """Lower end of the interval of 95 %."""
        return max(-1.0, self.value - self._half)

    @property
    def high(self) -> float:
        """Upper end of it."""
        return min(1.0, self.value + self._half)

    @property
    def _half(self) -> float:
        return t_quantile(0.975, self.freedom) * self.error if self.error > 0 else 0.0

    @property
    def p(self) -> float:
        """That the difference is nought."""
        return 2 * t_tail(abs(self.value) / self.error, self.freedom) if self.error > 0 else 1.0

    @property
    def plainly_likely(self) -> bool:
        """Whether p is above 0.05 whatever the degrees of freedom are, so that it need not be worked out."""
        return abs(self.value) < 1.95 * self.error


@dataclass(frozen=True)
class Standardised:
    """A group against all others. crude: as counted; within: Mantel-Haenszel difference within strata; moved:
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


def against_rest(counts: StratumCounts, groups: Sequence[int]) -> list[Standardised | None]:
    """Each of some groups against all others; None where no stratum has links of both."""
    strata = int(counts.stratum.max(initial=-1)) + 1
    some = max(1, _TOGETHER // max(1, strata))
    sides = counts.jobs_of_sides()
    out: list[Standardised | None] = []
    for first in range(0, len(groups), some):
        out += _Block(counts, np.asarray(groups[first : first + some], np.int64), strata, sides).found()
    return out


class _Block:
    """Some groups (k,) and their others, side by side: arrays are (2, k, strata)."""

    def __init__(self, counts: StratumCounts, groups: Whole, strata: int, jobs_of_sides: Whole) -> None:
        self._counts, self._groups, self._strata = counts, groups, strata
        place = np.full(int(counts.group.max(initial=-1)) + 1, -1)
        place[groups] = np.arange(len(groups))
        here = place[counts.group] >= 0
        self._own = StratumCounts(
            place[counts.group[here]],
            counts.stratum[here],
            counts.job[here],
            counts.links[here],
            counts.passed[here],
        )
        self._n, self._x = self._sums(lambda c: c.links), self._sums(lambda c: c.passed)
        self._safe = np.where(self._n > 0, self._n, 1.0)
        pooled = self._x.sum(axis=0)[:1] / np.maximum(self._n.sum(axis=0)[:1], 1)
        self._spread = np.sqrt(pooled * (1 - pooled))
        self._rho = self._correlation()
        self._freedom = np.maximum(1.0, jobs_of_sides.sum(axis=0)[groups] - 2 + PRIOR_WEIGHT)

    def found(self) -> list[Standardised | None]:
        """Of each group."""
        n, p = self._n, self._x / self._safe
        both = (n > 0).all(axis=0)
        some = both.any(axis=1)
        mh = _shares(np.where(both, n[0] * n[1] / np.maximum(n.sum(axis=0), 1), 0.0))
        own = _shares(n)
        everything = _shares(np.where(both, n.sum(axis=0), 0.0))
        weights = [own, np.stack([mh, mh]), own - mh]
        values = [(w[0] * p[0] - w[1] * p[1]).sum(axis=1) for w in weights]
        errors = np.sqrt(self._variances(weights))
        direct = (everything * p).sum(axis=2)
        compared = (n[0] * both).sum(axis=1) / np.maximum(n[0].sum(axis=1), 1)

        def estimate(which: int, g: int) -> Estimate:
            return Estimate(float(values[which][g]), float(errors[which, g]), float(self._freedom[g]))

        return [
            Standardised(
                estimate(0, g),
                estimate(1, g),
                estimate(2, g),
                (float(direct[0, g]), float(direct[1, g])),
                float(compared[g]),
                int(both[g].sum()),
            )
            if some[g]
            else None
            for g in range(len(self._groups))
        ]

    def _sums(self, of: Callable[[StratumCounts], Any]) -> Any:
        """Sums over rows of each group, and over those of all others."""
        k, s = len(self._groups), self._strata
        own = np.bincount(self._own.group * s + self._own.stratum, of(self._own), k * s).reshape(k, s)
        return np.stack([own, np.bincount(self._counts.stratum, of(self._counts), s)[None] - own])

    def _correlation(self) -> Any:
        """Within jobs, of links of one side and stratum: (k,)."""
        n, x = self._n, self._x
        rows, squares = self._sums(lambda c: np.ones(len(c.links))), self._sums(lambda c: c.links * c.links)
        passed = self._sums(lambda c: c.passed * c.passed / c.links)
        between = np.maximum(passed - x * x / self._safe, 0.0)
        parts = between, np.maximum(x - passed, 0.0), np.maximum(rows - 1, 0.0), n - rows, n - squares / self._safe
        return of_jobs.with_prior(Scatter(*(p.sum(axis=(0, 2)) for p in parts))).value

    def _variances(self, weights: Sequence[Any]) -> Any:
        """(1 - rho) sum u^2 s^2 N + rho sum over jobs of (sum u s n)^2, u = weight / N, of each weight: (w, k)."""
        u = [w / self._safe * self._spread for w in weights]
        alone = np.stack([(v * v * self._n).sum(axis=(0, 2)) for v in u])
        in_job = np.zeros_like(alone)
        own, jobs = self._own, int(self._counts.job.max(initial=-1)) + 1
        pairs, pair = np.unique(own.group * jobs + own.job, return_inverse=True)
        group, job = pairs // jobs, pairs % jobs
        taken = []
        for i, v in enumerate(u):
            mine, there = (
                np.bincount(pair, v[side][own.group, own.stratum] * own.links, len(pairs)) for side in (0, 1)
            )
            in_job[i] += np.bincount(group, mine * mine, len(self._groups))
            taken.append(there)
        for first, last, links in self._jobs(jobs):
            here = np.flatnonzero((job >= first) & (job < last))
            for i, v in enumerate(u):
                sums = v[1] @ links
                in_job[i] += (sums * sums).sum(axis=1)
                of_both = sums[group[here], job[here] - first]
                rest = of_both - taken[i][here]
                in_job[i] += np.bincount(group[here], rest * rest - of_both * of_both, len(self._groups))
        return np.maximum((1 - self._rho) * alone + self._rho * in_job, 0.0)

    def _jobs(self, jobs: int) -> Iterator[tuple[int, int, Any]]:
        """Links by stratum and job, of some jobs after each other: first, last, (strata, last - first)."""
        of = self._counts
        some = max(1, _TOGETHER // max(1, self._strata, len(self._groups)))
        order = np.argsort(of.job, kind="stable")
        starts = np.searchsorted(of.job[order], np.arange(0, jobs + some, some))
        for part, first in enumerate(range(0, jobs, some)):
            last = min(jobs, first + some)
            rows = order[starts[part] : starts[part + 1]]
            cell = of.stratum[rows] * (last - first) + of.job[rows] - first
            made = np.bincount(cell, of.links[rows], self._strata * (last - first))
            yield first, last, made.reshape(self._strata, last - first)


def _shares(numbers: Any) -> Any:
    """Numbers as shares of their sum over the strata."""
    whole = numbers.sum(axis=-1, keepdims=True)
    return numbers / np.where(whole > 0, whole, 1.0)
