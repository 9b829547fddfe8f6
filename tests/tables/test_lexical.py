"""The lexical form of numbers: two writings of it are held against each other, and against the double they name."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given

from archive.tables import axis_id, axis_row, number, numbers, row_id
from tests import strategies

# Checked by hand against the rules in schemas/README.md, section "Numbers".
BY_HAND = [
    (0.0, "0"),
    (-0.0, "-0"),
    (1.0, "1"),
    (35.4, "35.4"),
    (100.0, "100"),
    (1e-6, "0.000001"),
    (9.99e-7, "9.99e-7"),
    (1e10, "1e+10"),
    (9999999999.0, "9999999999"),
    (1.25e22, "1.25e+22"),
    (-2.5e-7, "-2.5e-7"),
    (5e-324, "5e-324"),
    (1.7976931348623157e308, "1.7976931348623157e+308"),
]


@pytest.mark.parametrize(("value", "text"), BY_HAND)
def test_numbers_by_hand(value: float, text: str) -> None:
    assert number(value) == text


@given(strategies.numbers)
def test_arrow_and_plain_python_write_the_same(value: float) -> None:
    assert numbers([value]).to_pylist() == [number(value)]


@given(strategies.numbers)
def test_the_text_reads_back_to_the_same_double(value: float) -> None:
    back = float(number(value))
    assert back == value
    assert math.copysign(1, back) == math.copysign(1, value)


@given(strategies.numbers)
def test_the_text_has_the_fewest_digits(value: float) -> None:
    # Python's repr is the shortest text that reads back (PEP 3101, David Gay's algorithm).
    def digits(text: str) -> str:
        return text.split("e")[0].replace(".", "").replace("-", "").strip("0")

    assert len(digits(number(value))) == len(digits(repr(value)))


@pytest.mark.parametrize("value", [math.nan, math.inf, -math.inf])
def test_what_is_not_finite_has_no_form(value: float) -> None:
    with pytest.raises(ValueError, match="finite"):
        number(value)
    with pytest.raises(ValueError, match="finite"):
        numbers([value])


def test_ids_follow_from_content() -> None:
    row = axis_row([1, 2.5])
    assert row["axis_id"] == axis_id("frequencies_mhz", np.array([1.0, 2.5]))
    assert row["axis_id"] != axis_row([1, 2.5], "distances_km")["axis_id"]
    assert row_id("pl", 1.0, None, "a") == row_id("pl", 1.0, None, "a") != row_id("pl", 2.0, None, "a")
