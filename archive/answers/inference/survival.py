"""Time to the first failure in service: Kaplan-Meier with an interval that counts jobs."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from archive.answers.inference.special import beta_quantile, t_quantile

LEAST_EVENTS = 5
"""Under so many failures only counts and the upper limit are worth printing."""


@dataclass(frozen=True)
class FailedBy:
    """Share of links that failed by a time. at_risk: links still under watch at it; events: failures by it; share,
    low, high: with its interval of 95 %."""

    time: float
    at_risk: int
    events: int
    share: float
    low: float
    high: float


def failed_by(years: Any, failed: Any, job: Any, at: float) -> FailedBy:
    """Of links (n,) watched for years (n,), failed (n,) at the end of them or not, of jobs (n,), numbers from 0.

    Clopper and Pearson's interval by beta quantiles on Peto's effective number (Statistics in Medicine 1987), lowered
    by how much more jobs differ than chance lets them, with t of their number for the normal quantile.
    """
    y, d = np.asarray(years, np.float64), np.asarray(failed, np.bool_)
    survival, greenwood = 1.0, 0.0
    for t in np.unique(y[d & (y <= at)]).tolist():
        risk, events = int((y >= t).sum()), int((d & (y == t)).sum())
        survival *= 1 - events / risk
        greenwood += events / (risk * (risk - events)) if risk > events else 0.0
    events = int((d & (y <= at)).sum())
    risk = int((y >= at).sum())
    share = 1 - survival
    number = share / (survival * greenwood) if events and survival > 0 and greenwood > 0 else float(max(risk, 1))
    jobs = int(job.max(initial=-1)) + 1
    number /= _overdispersion(y, d, np.asarray(job), at, jobs)
    if jobs > 1:
        number *= (1.959963984540054 / t_quantile(0.975, jobs - 1)) ** 2
    x = share * number
    low = beta_quantile(0.025, x, number - x + 1) if x > 0 else 0.0
    high = beta_quantile(0.975, x + 1, number - x) if number > x else 1.0
    return FailedBy(at, risk, events, share, low, high)


def _overdispersion(y: Any, d: Any, job: Any, at: float, jobs: int) -> float:
    """How many times more the failures of jobs vary than if all links failed alike; at least 1."""
    events = np.bincount(job, d & (y <= at), jobs)
    exposed = np.bincount(job, np.minimum(y, at), jobs)
    if jobs < 2 or not events.sum():
        return 1.0
    expected = events.sum() / exposed.sum() * exposed
    return max(1.0, float(jobs / (jobs - 1) * ((events - expected) ** 2).sum() / events.sum()))
