"""Intervals and tests of shares against published worked examples, statsmodels and scipy."""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from statsmodels.stats.multitest import multipletests
from statsmodels.stats.proportion import proportion_confint

from archive import schemas
from archive.answers import statistics
from archive.answers.inference import jobs

PUBLISHED = tomllib.loads(
    (Path(__file__).parents[2] / "fixtures/statistics/published.toml").read_text(encoding="utf-8")
)
COUNTS = st.integers(0, 400).flatmap(lambda n: st.tuples(st.integers(0, n), st.just(n)))


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
    low, high = jobs.wilson(x / n, n, statistics.Z95)
    assert (float(low), float(high)) == pytest.approx(proportion_confint(x, n, method="wilson"), abs=1e-9)
    assert statistics.exact(x, n) == pytest.approx(proportion_confint(x, n, method="beta"), abs=1e-8)


@given(st.lists(st.floats(0, 1), min_size=1, max_size=30))
@settings(max_examples=100, deadline=None)
def test_holms_correction_is_that_of_statsmodels(p: list[float]) -> None:
    assert statistics.holm(p) == pytest.approx(multipletests(p, method="holm")[1], abs=1e-12)


@pytest.mark.parametrize("wrong", [(3, 2), (-1, 5)])
def test_counts_that_are_no_share_are_refused(wrong: tuple[int, int]) -> None:
    for call in (statistics.wilson, statistics.exact):
        with pytest.raises(ValueError, match="no share"):
            call(*wrong)
