"""Intervals and tests of shares against published worked examples, statsmodels and scipy."""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats
from statsmodels.stats.multitest import multipletests
from statsmodels.stats.proportion import proportion_confint, proportions_ztest

from archive import schemas
from archive.answers import statistics

PUBLISHED = tomllib.loads(
    (Path(__file__).parents[2] / "fixtures/statistics/published.toml").read_text(encoding="utf-8")
)
COUNTS = st.integers(0, 400).flatmap(lambda n: st.tuples(st.integers(0, n), st.just(n)))
SOME = st.integers(1, 300).flatmap(lambda n: st.tuples(st.integers(0, n), st.just(n)))


def examples(kind: str) -> list[tuple[dict[str, Any], dict[str, Any]]]:
    """Each published example with the group it stands in."""
    return [(group, e) for group in PUBLISHED[kind] for e in group["examples"]]


@pytest.mark.parametrize(("group", "example"), examples("wilson"))
def test_newcombes_four_wilson_intervals(group: dict[str, Any], example: dict[str, Any]) -> None:
    """Newcombe 1998, Table I, method 3 (S86, S87): to every place that is printed."""
    low, high = statistics.wilson(example["x"], example["n"])
    assert round(low, group["places"]) == example["low"]
    assert round(high, group["places"]) == example["high"]


@pytest.mark.parametrize(("group", "example"), examples("exact"))
def test_the_exact_interval_of_nist(group: dict[str, Any], example: dict[str, Any]) -> None:
    """NIST/SEMATECH 7.2.4.2 (S88): 4 defective of 20 at 90 %."""
    low, high = statistics.exact(example["x"], example["n"], group["level"])
    assert round(low, group["places"]) == example["low"]
    assert round(high, group["places"]) == example["high"]


@pytest.mark.parametrize(("group", "example"), examples("p_chart"))
def test_the_p_chart_of_nist(group: dict[str, Any], example: dict[str, Any]) -> None:
    """NIST/SEMATECH 6.3.3.2 (S89)."""
    low, high = statistics.p_chart(example["mean"], example["n"])
    assert round(low, group["places"]) == example["low"]
    assert round(high, group["places"]) == example["high"]


def test_every_source_of_the_examples_is_told() -> None:
    known = schemas.load("sources.toml")
    named = {s for kind in PUBLISHED.values() for group in kind for s in group["source"]}
    assert named <= set(known)


@given(COUNTS)
@settings(max_examples=100, deadline=None)
def test_wilson_and_exact_agree_with_statsmodels(count: tuple[int, int]) -> None:
    x, n = count
    if n == 0:
        assert statistics.wilson(x, n) == statistics.exact(x, n) == (0.0, 1.0)
        return
    assert statistics.wilson(x, n) == pytest.approx(proportion_confint(x, n, method="wilson"), abs=1e-12)
    assert statistics.wilson_of(x / n, n) == pytest.approx(proportion_confint(x, n, method="wilson"), abs=1e-9)
    assert statistics.exact(x, n) == pytest.approx(proportion_confint(x, n, method="beta"), abs=1e-8)


@given(SOME, SOME)
@settings(max_examples=100, deadline=None)
def test_the_score_test_is_that_of_statsmodels(one: tuple[int, int], other: tuple[int, int]) -> None:
    (x1, n1), (x2, n2) = one, other
    if x1 + x2 in (0, n1 + n2):  # statsmodels divides by zero there
        assert statistics.score(x1, n1, x2, n2) == 1.0
        return
    assert statistics.score(x1, n1, x2, n2) == pytest.approx(proportions_ztest([x1, x2], [n1, n2])[1], abs=1e-12)
    table = [[x1, n1 - x1], [x2, n2 - x2]]
    chi = stats.chi2_contingency(table, correction=False)
    assert statistics.score(x1, n1, x2, n2) == pytest.approx(chi.pvalue, abs=1e-12)
    assert statistics.least_expected(x1, n1, x2, n2) == pytest.approx(chi.expected_freq.min())


@given(SOME, SOME)
@settings(max_examples=60, deadline=None)
def test_fishers_test_is_that_of_scipy(one: tuple[int, int], other: tuple[int, int]) -> None:
    (x1, n1), (x2, n2) = one, other
    wanted = stats.fisher_exact([[x1, n1 - x1], [x2, n2 - x2]]).pvalue
    assert statistics.fisher(x1, n1, x2, n2) == pytest.approx(wanted, rel=1e-6, abs=1e-12)


def test_fishers_test_holds_for_a_million_links() -> None:
    wanted = stats.fisher_exact([[3, 999_997], [9, 499_991]]).pvalue
    assert statistics.fisher(3, 1_000_000, 9, 500_000) == pytest.approx(wanted, rel=1e-6)


@given(st.lists(st.floats(0, 1), min_size=1, max_size=30))
@settings(max_examples=100, deadline=None)
def test_holms_correction_is_that_of_statsmodels(p: list[float]) -> None:
    assert statistics.holm(p) == pytest.approx(multipletests(p, method="holm")[1], abs=1e-12)


def test_the_design_effect_is_that_of_whole_jobs_drawn_again() -> None:
    """Against the spread of the share when whole jobs are drawn at random (numpy): jobs that differ, then alike."""
    rng = np.random.default_rng(5)
    n = rng.integers(50, 150, 400)
    for rates, wanted in ((rng.beta(9, 1, 400), None), (np.full(400, 0.9), 1.0)):
        x = rng.binomial(n, rates)
        found = statistics.design_effect(
            len(n), int(n.sum()), int(x.sum()), float((x * x).sum()), float((x * n).sum()), float((n * n).sum())
        )
        p = x.sum() / n.sum()
        drawn = [(x[i].sum() / n[i].sum()) for i in (rng.integers(0, len(n), len(n)) for _ in range(4000))]
        measured = np.var(drawn) / (p * (1 - p) / n.sum())
        assert found == pytest.approx(wanted or measured, rel=0.15)
        assert (found > 3) == (wanted is None)


@pytest.mark.parametrize("wrong", [(3, 2), (-1, 5)])
def test_counts_that_are_no_share_are_refused(wrong: tuple[int, int]) -> None:
    for call in (statistics.wilson, statistics.exact):
        with pytest.raises(ValueError, match="no share"):
            call(*wrong)
