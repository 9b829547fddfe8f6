"""Comparisons of groups against plain loops and whole sets of shuffles."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from scipy import stats

from archive.answers.inference import differ, jobs, standardise
from tests.inference import simulated_jobs


def test_every_group_against_all_others_is_what_loops_over_its_jobs_give(monkeypatch: pytest.MonkeyPatch) -> None:
    """The formulas of the module, by plain loops over links of one side, stratum and job; whatever is held at once."""
    draw = np.random.default_rng(22)
    job, stratum = np.repeat(np.arange(40), 3), np.tile(np.arange(3), 40)
    group = np.where(draw.random(120) < 0.9, job % 5, draw.integers(0, 5, 120))
    n = draw.integers(1, 30, 120).astype(float)
    x = np.minimum(n, draw.binomial(20, 0.9, 120)).astype(float)
    made = standardise.StratumCounts(group, stratum, job, n, x)
    whole = standardise.against_rest(made, range(5))
    monkeypatch.setattr(standardise, "_TOGETHER", 7)
    assert _numbers(standardise.against_rest(made, range(5))) == pytest.approx(_numbers(whole), rel=1e-9, abs=1e-12)
    for g, found in enumerate(whole):
        assert found is not None
        value, error, freedom = _within_by_loops(group != g, stratum, job, n, x)
        assert (found.within.value, found.within.error) == pytest.approx((value, error), rel=1e-9)
        assert found.within.freedom == freedom
        assert found.within.p == pytest.approx(2 * stats.t.sf(abs(value) / error, freedom), rel=1e-6)
    likely = [standardise.Estimate(1.9, 1.0, f).plainly_likely for f in (3.0, 30.0, 3000.0)]
    assert all(likely) and all(standardise.Estimate(1.94, 1.0, f).p > 0.05 for f in (3.0, 30.0, 3000.0, 1e6))


def _numbers(found: list[standardise.Standardised | None]) -> Any:
    """All that was found, as one array."""
    listed = [f for f in found if f is not None]
    three = [[(e.value, e.error, e.freedom) for e in (f.crude, f.within, f.moved)] for f in listed]
    return np.concatenate([np.reshape(three, -1), np.reshape([(*f.direct, f.compared, f.strata) for f in listed], -1)])


def _within_by_loops(other: Any, stratum: Any, job: Any, n: Any, x: Any) -> tuple[float, float, float]:
    """Mantel-Haenszel difference, its standard error with jobs, and degrees of freedom: statistics of two sides."""
    cells = {(s, c): (other == s) & (stratum == c) for s in (False, True) for c in set(stratum.tolist())}
    links = {k: n[rows].sum() for k, rows in cells.items()}
    rate = {k: x[rows].sum() / links[k] for k, rows in cells.items()}
    both = {c for _, c in cells}
    weight = {c: links[False, c] * links[True, c] / (links[False, c] + links[True, c]) for c in both}
    weight = {c: w / sum(weight.values()) for c, w in weight.items()}
    groups = list(cells)
    rho = jobs.of_all(
        jobs.JobCounts.of(
            [groups.index((bool(o), int(c))) for o, c in zip(other, stratum, strict=True)], n, x, len(groups)
        )
    )
    variance = 0.0
    for side in (False, True):
        u = {}
        for c in both:
            p = x[stratum == c].sum() / n[stratum == c].sum()
            u[c] = weight[c] / links[side, c] * (p * (1 - p)) ** 0.5
        variance += (1 - rho.value) * sum(u[c] ** 2 * links[side, c] for c in both)
        for j in set(job.tolist()):
            here = (job == j) & (other == side)
            variance += rho.value * sum(u[c] * k for c, k in zip(stratum[here], n[here], strict=True)) ** 2
    value = sum(w * (rate[False, c] - rate[True, c]) for c, w in weight.items())
    pairs = len({(bool(o), int(j)) for o, j in zip(other, job, strict=True)})
    return value, float(variance**0.5), pairs - 2 + 5.0


def test_a_step_that_ends_early_decides_as_all_its_shuffles_do() -> None:
    draw = np.random.default_rng(6)
    ended = 0
    for _ in range(40):
        made = simulated_jobs.groups(draw, [6] * 5, [0.9] + [0.96] * 4, 0.02)
        rho = float(jobs.of_all(made).value)
        z = differ.distances(made, rho)
        whole = differ.JobShuffles(made).p(np.arange(5), rho, z)
        early = differ.JobShuffles(made).p(np.arange(5), rho, z, 0.05)
        assert (early <= 0.05) == (whole <= 0.05)
        ended += early != whole
        assert early == whole or abs(early - whole) < 0.12  # 3 standard errors of 100 shuffles, at most 0.05 each
    assert 5 < ended < 40
