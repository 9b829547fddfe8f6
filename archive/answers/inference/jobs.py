"""How links of one job go together: intra-job correlation, effective numbers of links, intervals of rates.

All on one row per job and group. Methods and measured error rates: DEVELOPERS.md, "Statistics of pass rates".
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from archive.answers.inference.special import t_quantile

Reals = NDArray[np.float64]
Whole = NDArray[np.int64]

PRIOR_WEIGHT, PRIOR = 5.0, 0.05
"""Weight, in degrees of freedom, and value of the correlation that is believed before any job is seen (own choice)."""
_MOST_OTHERS = 10.0
"""Degrees of freedom that other groups lend at most."""


@dataclass(frozen=True)
class JobCounts:
    """Links and passes by job and group. group: (m,), number of the group from 0; links, passed: (m,), links above 0;
    groups: how many groups there are, those without a job too."""

    group: Whole
    links: Reals
    passed: Reals
    groups: int

    @staticmethod
    def of(group: Any, links: Any, passed: Any, groups: int | None = None) -> JobCounts:
        """From sequences; jobs of no link are left out."""
        n = np.asarray(links, np.float64)
        g = np.asarray(group, np.int64)
        some = n > 0
        count = int(g.max(initial=-1)) + 1 if groups is None else groups
        return JobCounts(g[some], n[some], np.asarray(passed, np.float64)[some], count)

    def only(self, groups: Any) -> JobCounts:
        """The jobs of some groups (k,), which are numbered anew in their order."""
        number = np.full(self.groups, -1)
        number[groups] = np.arange(len(groups))
        here = number[self.group] >= 0
        return JobCounts(number[self.group[here]], self.links[here], self.passed[here], len(groups))

    def together(self) -> JobCounts:
        """All jobs as one group."""
        return JobCounts(np.zeros_like(self.group), self.links, self.passed, 1)


@dataclass(frozen=True)
class Scatter:
    """Sums of squares between and within jobs, by group or over groups: all (groups,) or single numbers.

    between, within: SSB and SSW of the analysis of variance; jobs, links: their degrees of freedom; spare: sum of
    N - sum n^2 / N.
    """

    between: Any
    within: Any
    jobs: Any
    links: Any
    spare: Any

    def __add__(self, other: Scatter) -> Scatter:
        return Scatter(*(a + b for a, b in zip(self.parts, other.parts, strict=True)))

    def __sub__(self, other: Scatter) -> Scatter:
        return Scatter(*(a - b for a, b in zip(self.parts, other.parts, strict=True)))

    @property
    def parts(self) -> tuple[Any, ...]:
        """The five numbers."""
        return self.between, self.within, self.jobs, self.links, self.spare

    @property
    def over_all(self) -> Scatter:
        """The sums over all groups."""
        return Scatter(*(np.sum(p) for p in self.parts))

    @property
    def correlation(self) -> Any:
        """The analysis-of-variance estimate (MSB - MSW) / (MSB + (n0 - 1) MSW), within 0 to 1; 0 where nothing tells.

        Ridout, Demetrio and Firth 1999, Biometrics 55 (from memory; formula as in fishmethods, clus.rho).
        """
        between, within, jobs, links, spare = (np.asarray(p, np.float64) for p in self.parts)
        with np.errstate(divide="ignore", invalid="ignore"):
            msb, msw, n0 = between / jobs, within / links, spare / jobs
            msw = np.where(links > 0, msw, 0.0)
            found = (msb - msw) / (msb + (n0 - 1) * msw)
        return np.clip(np.where((jobs > 0) & np.isfinite(found), found, 0.0), 0.0, 1.0)


@dataclass(frozen=True)
class GroupSums:
    """Of each group, (groups,): links, passes, jobs, job_size (of the job that a typical link is in), rate (0 where
    there is no link)."""

    links: Reals
    passed: Reals
    jobs: Reals
    job_size: Reals
    rate: Reals


def sums(jobs: JobCounts) -> GroupSums:
    """Sums by group."""
    k = jobs.groups
    links: Reals = np.bincount(jobs.group, jobs.links, k).astype(np.float64)
    passed: Reals = np.bincount(jobs.group, jobs.passed, k).astype(np.float64)
    squares = np.bincount(jobs.group, jobs.links * jobs.links, k)
    safe = np.where(links > 0, links, 1.0)
    count = np.bincount(jobs.group, minlength=k).astype(np.float64)
    return GroupSums(links, passed, count, squares / safe, passed / safe)


def scatter(jobs: JobCounts) -> Scatter:
    """Scatter of each group."""
    of, k = sums(jobs), jobs.groups
    rate = jobs.passed / jobs.links
    between = np.bincount(jobs.group, jobs.links * (rate - of.rate[jobs.group]) ** 2, k)
    within = np.bincount(jobs.group, jobs.links * rate * (1 - rate), k)
    return Scatter(between, within, np.maximum(of.jobs - 1, 0.0), of.links - of.jobs, of.links - of.job_size)


NOTHING = Scatter(0.0, 0.0, 0.0, 0.0, 0.0)


@dataclass(frozen=True)
class Correlation:
    """Intra-job correlation of each group and the degrees of freedom that it rests on: (groups,) each."""

    value: Any
    freedom: Any


def of_groups(jobs: JobCounts, elsewhere: Scatter = NOTHING) -> Correlation:
    """Correlation for intervals: of the group's own jobs, the other groups' and a weak prior.

    elsewhere: scatter of jobs outside the question, which lend as the other groups do.
    """
    own = scatter(jobs)
    others = own.over_all + elsewhere - own
    lent = np.minimum(_MOST_OTHERS, np.maximum(others.jobs, 0.0))
    freedom = own.jobs + lent + PRIOR_WEIGHT
    weighed = own.jobs * own.correlation + lent * others.correlation + PRIOR_WEIGHT * PRIOR
    return Correlation(weighed / freedom, freedom)


def of_all(jobs: JobCounts) -> Correlation:
    """Correlation for tests, charts and funnels: one number for all groups."""
    return with_prior(scatter(jobs).over_all)


def with_prior(own: Scatter) -> Correlation:
    """What a scatter says of the correlation, and the weak prior."""
    freedom = own.jobs + PRIOR_WEIGHT
    return Correlation((own.jobs * own.correlation + PRIOR_WEIGHT * PRIOR) / freedom, freedom)


def effective(links: Any, job_size: Any, correlation: Any) -> Any:
    """How many independent links these tell as much as: N / (1 + rho (k - 1)). Kish 1965 (from memory)."""
    return links / (1 + correlation * (job_size - 1))


def wilson(rate: Any, number: Any, t: Any) -> tuple[Any, Any]:
    """Wilson's score interval of rates on effective numbers with the quantile t; (0, 1) where there is nothing.

    Franco, Little, Louis and Slud 2019 recommend this form with a design effect. No failure needs no special case.
    """
    p, n = np.asarray(rate, np.float64), np.asarray(number, np.float64)
    some = n > 0
    n = np.where(some, n, 1.0)
    tt = np.asarray(t, np.float64) ** 2
    middle = p + tt / (2 * n)
    half = np.sqrt(tt) * np.sqrt(np.maximum(p * (1 - p), 0) / n + tt / (4 * n * n))
    whole = 1 + tt / n
    low = np.where(p <= 0, 0.0, (middle - half) / whole)
    high = np.where(p >= 1, 1.0, (middle + half) / whole)
    return np.where(some, np.maximum(low, 0.0), 0.0), np.where(some, np.minimum(high, 1.0), 1.0)


@dataclass(frozen=True)
class RateIntervals:
    """Rates at which such jobs pass: low, high (95 %), effective number of links, correlation, freedom: (groups,)."""

    low: Reals
    high: Reals
    effective: Reals
    correlation: Reals
    freedom: Reals


def intervals(jobs: JobCounts, elsewhere: Scatter = NOTHING) -> RateIntervals:
    """Intervals of 95 % of the rate of each group, as wide as its jobs demand."""
    of, rho = sums(jobs), of_groups(jobs, elsewhere)
    number = effective(of.links, of.job_size, rho.value)
    t = np.array([t_quantile(0.975, f) for f in np.atleast_1d(rho.freedom).tolist()])
    low, high = wilson(of.rate, number, t)
    return RateIntervals(low, high, number, rho.value, rho.freedom)


@dataclass(frozen=True)
class Arcsines:
    """Anscombe's arcsine values of rates and their weights (one over the variance); number: effective links."""

    value: Reals
    weight: Reals
    number: Reals


def arcsines(rate: Any, links: Any, job_size: Any, correlation: Any) -> Arcsines:
    """asin sqrt((p n + 3/8) / (n + 3/4)) with weight 4 n + 2, n the effective number. Anscombe 1948 (from memory)."""
    n = effective(links, job_size, correlation)
    value = np.arcsin(np.sqrt((rate * n + 0.375) / (n + 0.75)))
    return Arcsines(value, 4 * n + 2, n)


def difference(one: tuple[float, float, float], other: tuple[float, float, float]) -> tuple[float, float, float]:
    """Difference of two rates with its interval, each given as rate, low, high. Newcombe 1998 (from memory)."""
    (p1, l1, u1), (p2, l2, u2) = one, other
    d = p1 - p2
    low = d - float(np.hypot(p1 - l1, u2 - p2))
    high = d + float(np.hypot(u1 - p1, p2 - l2))
    return d, max(-1.0, low), min(1.0, high)
