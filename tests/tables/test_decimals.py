"""Decimals and steps of numbers against those of their decimal text."""

from __future__ import annotations

import math
from decimal import Decimal

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from archive.tables.decimals import MOST_DECIMALS, STEPS, decimal_steps, fewest_decimals, fits_nearly

written = st.builds(lambda n, d: float(Decimal(n).scaleb(-d)), st.integers(-(10**9), 10**9), st.integers(0, 9))
points = st.one_of(written, st.just(math.nan), st.just(0.1 + 0.2), st.just(-0.0))


def _decimals(curve: list[float]) -> int:
    """Most decimals of the shortest texts of the points; -1 beyond MOST_DECIMALS, or without a point."""
    known = [Decimal(repr(v)) for v in curve if not math.isnan(v)]
    most = max((max(0, -int(v.normalize().as_tuple().exponent)) for v in known), default=0)
    return most if curve and most <= MOST_DECIMALS else -1


@given(st.lists(st.lists(points, max_size=20), max_size=6), st.integers(0, 3))
def test_decimals_are_those_of_the_numbers_as_written(curves: list[list[float]], gap: int) -> None:
    flat = np.array([v for curve in curves for v in [*curve, *[1 / 3] * gap]], np.float64)
    lengths = np.array([len(curve) for curve in curves], np.int64)
    starts = np.concatenate(([0], np.cumsum(lengths + gap)))[:-1].astype(np.int64)
    found = fewest_decimals(flat, starts, starts + lengths)
    assert found.tolist() == [_decimals(curve) for curve in curves]


@given(st.lists(points, max_size=20))
def test_a_number_by_itself_has_the_step_of_its_last_digit(values: list[float]) -> None:
    found = decimal_steps(np.array([*values, math.inf]))
    wanted = [math.nan if math.isnan(v) else STEPS[_decimals([v])] for v in values]
    assert np.array_equal(found, [*wanted, math.nan], equal_nan=True)


@pytest.mark.parametrize("size", [1, 8, 9, 40_000])
@pytest.mark.parametrize("at", [0, -1])
def test_one_finer_point_makes_the_step_of_its_curve_finer(size: int, at: int) -> None:
    flat = np.full(3 * size, 35.0)
    flat[size : 2 * size][at] = 35.4
    starts = np.arange(3) * size
    assert STEPS[fewest_decimals(flat, starts, starts + size)].tolist() == [1.0, 0.1, 1.0]
    assert fewest_decimals(flat, starts[:2], starts[1:]).tolist() == [0, 1]


def test_computed_numbers_have_the_step_that_they_are_nearly_on() -> None:
    curve = np.array([0.1 + 0.2, 1.1 * 3, math.nan])
    one = np.array([0]), np.array([3])
    assert fewest_decimals(curve, *one).tolist() == [-1]
    assert fewest_decimals(curve, *one, fits_nearly).tolist() == [1]
    assert fewest_decimals(np.array([1 / 3, 1.0, 2.0]), *one, fits_nearly).tolist() == [-1]


def test_steps_are_the_decimal_fractions_themselves() -> None:
    assert [repr(s) for s in STEPS.tolist()] == ["1.0", "0.1", "0.01", "0.001", "0.0001", "1e-05", "1e-06", "nan"]
