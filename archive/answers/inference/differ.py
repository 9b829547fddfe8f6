"""Which groups pass more or less often than the typical one: whole jobs shuffled, step by step, one correction.

Step-down max-T by permutation of jobs (Westfall and Young 1993, from memory; p as Phipson and Smyth 2010, arXiv
1603.05766): the correction for many groups is in it. A step that can tell nothing any more ends early (Besag and
Clifford 1991, from memory: p is then how often out of the shuffles up to there).
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np

from archive.answers.inference import jobs as of_jobs
from archive.answers.inference.jobs import JobCounts, Reals
from archive.answers.inference.special import t_tail

SHUFFLES = 999
_AT_ONCE = 100
"""Shuffles made in one go: few enough that a step may end early, and that they stay near the processor."""


@dataclass(frozen=True)
class Departure:
    """A group that differs from the typical one. z: its distance, below 0 where it passes less often; p: corrected."""

    group: int
    z: float
    p: float


@dataclass(frozen=True)
class StepDown:
    """What a comparison of groups found. departures: the surest first; left: groups that were not told apart, (k,);
    z: (groups,), distance of each at the step at which it was judged last, NaN where it has no link; p: of the step
    at which the search stopped, None where nothing could be compared; reason: why nothing can be told, or "";
    rounds: how many steps were asked."""

    departures: list[Departure]
    left: Any
    z: Reals
    p: float | None
    reason: str = ""


def seed_of(*arrays: Any) -> int:
    """A seed that the same question always has."""
    digest = hashlib.sha256(b"".join(np.ascontiguousarray(a).tobytes() for a in arrays))
    return int.from_bytes(digest.digest()[:8], "big")


def compare(jobs: JobCounts, alpha: float = 0.05, shuffles: int = SHUFFLES) -> StepDown:
    """Groups that differ from the median group, at an error of alpha over all groups together."""
    rho = of_jobs.of_all(jobs)
    z_of = np.full(jobs.groups, np.nan)
    left = np.flatnonzero(np.bincount(jobs.group, minlength=jobs.groups) > 0)
    if len(left) < 2:
        return StepDown([], left, z_of, None, "there is one group")
    reason = _cannot(jobs.only(left))
    found: list[Departure] = []
    most = max(1, (len(left) - 1) // 2)
    so_far = 0.0
    dealt = JobShuffles(jobs, shuffles)
    while True:
        here = jobs.only(left)
        z = distances(here, float(rho.value))
        z_of[left] = z
        p = so_far = max(so_far, dealt.p(left, float(rho.value), z, alpha))
        if p > alpha or not np.abs(z).max() > 0:
            break
        worst = int(np.abs(z).argmax())
        if _uneven(here, worst) and len(left) * 2 * t_tail(abs(float(z[worst])), float(rho.freedom)) > alpha:
            break
        found.append(Departure(int(left[worst]), float(z[worst]), p))
        if len(left) == 2:
            break
        left = np.delete(left, worst)
        if len(left) == 2 or len(found) >= most:
            break
    return StepDown(found, left, z_of, p, "" if found else reason)


def distances(jobs: JobCounts, correlation: float) -> Reals:
    """Signed distance of each group from the weighted median of all, in its own standard error, (groups,)."""
    of = of_jobs.sums(jobs)
    a = of_jobs.arcsines(of.rate, of.links, of.job_size, correlation)
    return _from_median(a.value[None], a.weight[None])[0]  # type: ignore[no-any-return]


def _from_median(value: Any, weight: Any) -> Any:
    """Distances from the weighted median; of two groups, of one from the other. (n, groups) all."""
    if value.shape[1] == 2:
        z = (value[:, 0] - value[:, 1]) / np.sqrt(1 / weight[:, 0] + 1 / weight[:, 1])
        return np.stack([z, -z], axis=1)
    order = np.argsort(value, axis=1, kind="stable")
    upto = np.cumsum(np.take_along_axis(weight, order, 1), axis=1)
    first = np.argmax(upto >= upto[:, -1:] / 2, axis=1)
    middle = np.take_along_axis(value, np.take_along_axis(order, first[:, None], 1), 1)
    return (value - middle) * np.sqrt(weight)


class JobShuffles:
    """The jobs of all groups dealt to them anew, in orders that a question always has. They are drawn as they are
    needed, and serve every step: jobs that are taken out leave the others in an order as good as any."""

    def __init__(self, jobs: JobCounts, shuffles: int = SHUFFLES) -> None:
        order = np.argsort(jobs.group, kind="stable")
        self._group, self._n, self._x = jobs.group[order], jobs.links[order], jobs.passed[order]
        self._shuffles, self._groups = shuffles, jobs.groups
        self._draw = np.random.default_rng(seed_of(self._group, self._n, self._x))
        self._drawn: list[Any] = []

    def p(self, groups: Any, correlation: float, z: Reals, alpha: float = 1.0) -> float:
        """Share of shuffles of the jobs of some groups, (k,) rising, in which one lies as far out as the furthest of z,
        (k,). No more are made once p is sure to be above alpha; whether it is never depends on that."""
        number = np.full(self._groups, -1)
        number[groups] = np.arange(len(groups))
        here = number[self._group] >= 0
        some, n, x, squares = int(here.sum()), self._n, self._x, self._n * self._n
        starts = np.searchsorted(number[self._group[here]], np.arange(len(groups)))
        if (x == n)[here].all() or some == len(groups):
            return 1.0
        furthest = float(np.abs(z).max()) - 1e-9
        enough = alpha * (self._shuffles + 1)
        beyond = done = 0
        for dealt in self._dealt():
            where = dealt if some == len(n) else dealt.ravel()[np.flatnonzero(here[dealt])].reshape(len(dealt), some)
            links, passed, size = (np.add.reduceat(v[where], starts, axis=1) for v in (n, x, squares))
            a = of_jobs.arcsines(passed / links, links, size / links, correlation)
            beyond += int((np.abs(_from_median(a.value, a.weight)).max(axis=1) >= furthest).sum())
            done += len(dealt)
            if beyond + 1 > enough:
                break
        return (beyond + 1) / (done + 1)

    def _dealt(self) -> Iterator[Any]:
        """Places of the jobs, (shuffles, jobs), some after each other."""
        yield from self._drawn
        whole = np.arange(len(self._n), dtype=np.int32)
        for first in range(_AT_ONCE * len(self._drawn), self._shuffles, _AT_ONCE):
            count = min(_AT_ONCE, self._shuffles - first)
            self._drawn.append(self._draw.permuted(np.broadcast_to(whole, (count, len(whole))), axis=1))
            yield self._drawn[-1]


def _uneven(jobs: JobCounts, which: int) -> bool:
    """Whether a group's jobs are of another size than those of the others, so that shuffling alone misleads."""
    own = jobs.links[jobs.group == which].mean()
    others = jobs.links[jobs.group != which].mean()
    return bool(own < others / 2 or own > others * 2)


def _cannot(jobs: JobCounts) -> str:
    """Why no difference can be told whatever the counts are, or ""."""
    count = np.bincount(jobs.group)
    if len(count) == len(jobs.group):
        return "each group is one job: a difference between groups cannot be told from one between jobs"
    if len(jobs.group) < 20 and _arrangements(count) < 20:
        return "too few jobs to tell"
    return ""


def _arrangements(count: Any) -> float:
    """How many ways there are to deal the jobs to the groups."""
    total, ways = 0, 1.0
    for c in count.tolist():
        for i in range(1, c + 1):
            total += 1
            ways *= total / i
    return ways


def no_failure(jobs: JobCounts, group: int) -> float | None:
    """Chance that jobs like those of the other groups have no failure in as many links; None where they have none.

    Beta-binomial with the correlation of the tests, job by job.
    """
    from math import lgamma

    here = jobs.group == group
    n, x = jobs.links[~here].sum(), jobs.passed[~here].sum()
    if not n or x == n or not here.any():
        return None
    rho = float(of_jobs.of_all(jobs).value)
    p = x / n
    a, b = p * (1 - rho) / rho, (1 - p) * (1 - rho) / rho
    whole = lgamma(a) - lgamma(a + b)
    log = sum(lgamma(a + k) - lgamma(a + b + k) - whole for k in jobs.links[here].tolist())
    return float(np.exp(log))
