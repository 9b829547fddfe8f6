"""Scaled integers give back every double bit for bit, or are not used."""

from __future__ import annotations

from decimal import Decimal

import numpy as np
import pyarrow as pa
import pytest
from hypothesis import given
from hypothesis import strategies as st

from archive.store.parquet import curves

point = st.one_of(
    st.none(),
    st.floats(allow_nan=False, allow_infinity=False),
    st.integers(-9_999_999, 9_999_999).map(lambda i: float(Decimal(i).scaleb(-1))),
    st.integers(-9_999, 9_999).map(lambda i: float(Decimal(i).scaleb(-3))),
    st.sampled_from([0.0, -0.0, 0.1 + 0.2, 2.0**31, -(2.0**31), 5e-324, 1.7976931348623157e308, 1e-7]),
)
decimal = st.integers(-999_999, 999_999).map(lambda i: float(Decimal(i).scaleb(-2)))


def bits(lists: list[list[float | None]]) -> list[list[bytes | None]]:
    return [[None if v is None else np.float64(v).tobytes() for v in curve] for curve in lists]


@given(st.lists(st.one_of(st.lists(point, max_size=8), st.lists(decimal, max_size=8)), max_size=6))
def test_every_bit_comes_back(given_curves: list[list[float | None]]) -> None:
    column = pa.array(given_curves, type=pa.list_(pa.float64()))
    again = curves.unpack(*curves.pack(column))
    assert bits(again.to_pylist()) == bits(given_curves)


@given(st.lists(st.integers(-(2**31) + 1, 2**31 - 1), min_size=1, max_size=20), st.integers(0, 6))
def test_decimal_steps_are_scaled(whole: list[int], places: int) -> None:
    """Python's decimal module is the judge of what the decimal number is."""
    column = pa.array([[float(Decimal(i).scaleb(-places)) for i in whole]], type=pa.list_(pa.float64()))
    decimals, scaled, plain = curves.pack(column)
    assert plain.null_count == 1
    got = [Decimal(i).scaleb(-decimals[0].as_py()) for i in scaled[0].as_py()]
    assert got == [Decimal(i).scaleb(-places) for i in whole]
    assert decimals[0].as_py() <= places


@pytest.mark.parametrize("value", [-0.0, 0.1 + 0.2, 1e-7, 2.0**31, 1 / 3])
def test_what_is_no_decimal_step_stays_a_double(value: float) -> None:
    decimals, scaled, plain = curves.pack(pa.array([[1.5, value]], type=pa.list_(pa.float64())))
    assert decimals.null_count == 1
    assert scaled.null_count == 1
    assert bits(plain.to_pylist()) == bits([[1.5, value]])


def test_sliced_columns_and_missing_points() -> None:
    column = pa.array([[9.9], [1.5, None, 2.0], [], [None], [-3.25]], type=pa.list_(pa.float64())).slice(1, 4)
    decimals, scaled, plain = curves.pack(column)
    assert decimals.to_pylist() == [1, 0, 0, 2]
    assert scaled.to_pylist() == [[15, None, 20], [], [None], [-325]]
    assert plain.null_count == 4
    assert curves.unpack(decimals, scaled, plain).to_pylist() == column.to_pylist()
