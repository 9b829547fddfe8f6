"""Jobs with planted rates: sizes lognormal (median 60, 5 to 500 links), rates of jobs beta-distributed or heavy-tailed.

The process is not the one that is fitted: job sizes, tails and groups are drawn, and nothing of the estimate goes in.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from archive.answers.inference.jobs import JobCounts


def sizes(draw: Any, count: int) -> Any:
    """Links of some jobs."""
    return np.clip(np.rint(np.exp(draw.normal(np.log(60), 0.8, count))), 5, 500).astype(np.int64)


def rates(draw: Any, mean: Any, correlation: float, tails: str = "beta") -> Any:
    """Rates of jobs with these means and intra-job correlation. tails: "beta", or "t": the logit shifted by a t with 3
    degrees of freedom, scaled to about the same variance."""
    mean = np.asarray(mean, np.float64)
    if correlation <= 0:
        return mean
    if tails == "beta":
        a = mean * (1 - correlation) / correlation
        return draw.beta(a, (1 - mean) * (1 - correlation) / correlation)
    spread = np.sqrt(correlation / (mean * (1 - mean)))
    logit = np.log(mean / (1 - mean)) + spread * draw.standard_t(3, len(mean)) / np.sqrt(3)
    return 1 / (1 + np.exp(-logit))


def groups(draw: Any, jobs: Any, mean: Any, correlation: float, tails: str = "beta") -> JobCounts:
    """Groups with so many jobs each (a list) and mean rates (one or a list)."""
    group = np.repeat(np.arange(len(jobs)), jobs)
    of = np.broadcast_to(mean, (len(jobs),))[group]
    n = sizes(draw, len(group))
    x = draw.binomial(n, rates(draw, of, correlation, tails))
    return JobCounts.of(group, n, x, len(jobs))


def coverage(seed: int, runs: int, jobs: Any, mean: float, correlation: float) -> float:
    """Share of intervals of groups that hold the true mean."""
    from archive.answers.inference.jobs import intervals

    draw = np.random.default_rng(seed)
    held, asked = 0, 0
    for _ in range(runs):
        found = intervals(groups(draw, jobs, mean, correlation))
        held += int(((found.low <= mean) & (mean <= found.high)).sum())
        asked += len(jobs)
    return held / asked


def false_alarms(seed: int, runs: int, jobs: Any, mean: float, correlation: float, tails: str = "beta") -> float:
    """Share of questions in which any of like groups is told to differ."""
    from archive.answers.inference.differ import compare

    draw = np.random.default_rng(seed)
    told = sum(
        bool(compare(groups(draw, jobs, mean, correlation, tails), shuffles=199).departures) for _ in range(runs)
    )
    return told / runs
