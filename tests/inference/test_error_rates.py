"""Coverage and false alarms over simulated jobs: a tenth of `python -m tests.endurance rates`, with wider bounds."""

from __future__ import annotations

import numpy as np
import pytest

from archive.answers.inference.standardise import StratumCounts, against_rest
from tests.endurance.error_rates import archive_of_units, charts, told_units, until
from tests.inference import simulated_jobs as simulated


@pytest.mark.parametrize("jobs", [1, 2, 5, 20])
@pytest.mark.parametrize("correlation", [0.0, 0.02, 0.05])
def test_intervals_cover(jobs: int, correlation: float) -> None:
    """Four hundred intervals of 95 %; 92.5 % are promised, and 90 % would be missed by chance in one run of 700."""
    assert simulated.coverage(jobs, 50, [jobs] * 8, 0.97, correlation) >= 0.90


@pytest.mark.parametrize(("groups", "jobs"), [(3, 5), (8, 5), (8, 20)])
def test_like_groups_are_not_told_to_differ(groups: int, jobs: int) -> None:
    """7 % are promised; more than 14 of 100 would come in one run of 100."""
    assert simulated.false_alarms(groups * jobs, 100, [jobs] * groups, 0.97, 0.02) <= 0.14


def test_one_bad_group_is_told_and_no_other_with_it() -> None:
    """One of ten groups at 85 % beside 97 %, twenty jobs each: found each time; the score test called good ones bad."""
    from archive.answers.inference.differ import compare

    draw = np.random.default_rng(4)
    told = [
        [
            d.group
            for d in compare(simulated.groups(draw, [20] * 10, [0.85] + [0.97] * 9, 0.02), shuffles=199).departures
        ]
        for _ in range(20)
    ]
    assert all(t[:1] == [0] for t in told)
    assert sum(len(t) - 1 for t in told) <= 4


@pytest.mark.parametrize("links", [20, 60, 300])
def test_like_mixes_are_not_told_to_move_a_rate(links: int) -> None:
    """Seven bands of length alike in two groups: the fixed threshold warned in 96, 87 and 13 % of analyses."""
    draw = np.random.default_rng(links)
    moved = turned = 0
    for _ in range(100):
        jobs = np.repeat(np.arange(8), 7)
        n = np.concatenate([draw.multinomial(links // 4, [1 / 7] * 7) for _ in range(8)])
        rate = np.repeat(simulated.rates(draw, np.full(8, 0.95), 0.02), 7)
        x = draw.binomial(n, rate)
        some = n > 0
        side, band = (jobs >= 4).astype(int), np.tile(np.arange(7), 8)
        (found,) = against_rest(
            StratumCounts(side[some], band[some], jobs[some], n[some].astype(float), x[some].astype(float)), [0]
        )
        assert found is not None
        moved += abs(found.moved.value) >= 0.005 and found.moved.p < 0.05
        turned += found.reversed and found.within.p < 0.01
    assert moved <= 12 and turned <= 2


def test_a_drifting_unit_is_told_and_no_other() -> None:
    """0.043 dB a month, 0.15 dB between jobs, two jobs a month: at 15 months; lots and crews are no units."""
    draw = np.random.default_rng(9)
    found = innocent = 0
    for _ in range(20):
        told = set(told_units(until(archive_of_units(draw, 15, 2, 0.15, -0.043), 15)))
        found += 0 in told
        innocent += bool(told - {0})
    assert found >= 16 and innocent <= 2


def test_few_charts_of_like_months_tell_anything() -> None:
    """5 % of each are promised, whatever the tails; more than five of twenty would come in one run of 3,000."""
    assert max(charts(80).values()) <= 0.25
