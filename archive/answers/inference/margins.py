"""Quantiles of margins with intervals that count jobs, read off the sorted margins: no shape is assumed."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np

from archive.answers.inference import jobs as of_jobs
from archive.answers.inference.jobs import JobCounts
from archive.answers.inference.special import t_quantile


@dataclass(frozen=True)
class MarginQuantile:
    """A quantile of margins and its interval of 95 %; None: so few jobs set no limit on that side."""

    value: float
    low: float | None
    high: float | None


def quantile(margins: Any, job: Any, share: float) -> MarginQuantile:
    """Quantile of margins (n,) whose links belong to jobs (n,), numbers from 0. Woodruff 1952: the interval of the
    share below, read off the sorted margins."""
    values = np.asarray(margins, np.float64)
    at = float(np.quantile(values, share))
    number = np.bincount(job)
    below = np.bincount(job, values <= at)
    counts = JobCounts.of(np.zeros(len(number), np.int64), number, below, 1)
    rho = of_jobs.of_groups(counts)
    of = of_jobs.sums(counts)
    effective = of_jobs.effective(of.links, of.job_size, rho.value)
    t = t_quantile(0.975, float(rho.freedom[0]))
    low, high = (float(v[0]) for v in of_jobs.wilson(np.array([share]), effective, t))
    ordered, n = np.sort(values), len(values)
    first, last = math.floor(n * low), math.ceil(n * high) + 1
    return MarginQuantile(
        at,
        float(ordered[first - 1]) if first >= 1 else None,
        float(ordered[last - 1]) if last <= n else None,
    )
