"""The parts that rules stand on: labels, times, wire maps, runs of equal values."""

from __future__ import annotations

from datetime import datetime

import numpy as np
import pyarrow as pa
import pytest
from hypothesis import given
from hypothesis import strategies as st

from archive.validation import catalogue
from archive.validation.look.labels import alike, plain
from archive.validation.look.local_times import iso, local_times
from archive.validation.look.wires import CONTACTS, classify, mate
from archive.validation.rules.curves import _cut_off
from tests.validation import good

LABELS = st.text(alphabet="ABab01OoIilL -–/.:_é", max_size=12)


@given(LABELS)
def test_plain_labels_are_stable(label: str) -> None:
    assert plain(plain(label)) == plain(label)
    assert alike(alike(label)) == alike(label)


@given(LABELS, LABELS)
def test_labels_that_are_plainly_equal_are_alike(a: str, b: str) -> None:
    if plain(a) == plain(b):
        assert alike(a) == alike(b)


@pytest.mark.parametrize(
    ("a", "b"), [("1A-B07", "1a-b07"), ("1A-B07", " 1A - B07"), ("1A-B07", "1A–B07"), ("1A-B07", "1A−b07 ")]
)
def test_labels_that_differ_by_case_blanks_and_dashes(a: str, b: str) -> None:
    assert plain(a) == plain(b)


@pytest.mark.parametrize(("a", "b"), [("1A-B07", "1A-BO7"), ("1A-101", "lA-I01")])
def test_labels_that_look_alike(a: str, b: str) -> None:
    assert plain(a) != plain(b)
    assert alike(a) == alike(b)


@pytest.mark.parametrize(("a", "b"), [("2-117", "21-17"), ("1A-B07", "1A-B70"), ("A.1", "A1")])
def test_labels_that_do_not(a: str, b: str) -> None:
    assert alike(a) != alike(b)


@given(
    st.datetimes(min_value=datetime(1970, 1, 1), max_value=datetime(2099, 12, 31)), st.sampled_from([10, 16, 19, 26])
)
def test_times_against_the_standard_library(moment: datetime, length: int) -> None:
    """Read as datetime.fromisoformat reads them, cut to seconds, with the precision that was there."""
    text = moment.isoformat(timespec="microseconds")[:length]
    times, precision = local_times(pa.array([text, None, "no time"]))
    expected = datetime.fromisoformat(text).replace(microsecond=0)
    assert times[0] == np.datetime64(expected, "s")
    assert precision[0] == {10: "day", 16: "minute", 19: "second", 26: "second"}[length]
    assert np.isnat(times[1:]).all()
    assert list(precision[1:]) == ["", ""]
    assert iso(times[0], precision[0]) == text[: min(length, 19)]


def test_dates_that_do_not_exist_are_no_dates() -> None:
    times, precision = local_times(pa.array(["2025-02-30", "2025-13-01T10:00", "2025-03-04T10:61:00", "04.03.2025"]))
    assert np.isnat(times).all()
    assert list(precision) == [""] * 4


STRAIGHT = {c: c for c in CONTACTS}


@pytest.mark.parametrize(
    ("changed", "expected"),
    [
        ({}, {}),
        ({"4": ""}, {"4": "open"}),
        ({"1": "2", "2": "1"}, {"1": "reversed", "2": "reversed"}),
        ({"1": "3", "2": "6", "3": "1", "6": "2"}, {"1": "crossed", "2": "crossed", "3": "crossed", "6": "crossed"}),
        ({"1": "3", "3": "1"}, {"1": "miswire", "3": "miswire"}),
        ({"4": "5"}, {"4": "miswire"}),
    ],
)
def test_classes_of_wire_map_faults(changed: dict[str, str], expected: dict[str, str]) -> None:
    """Each class is a function of the contacts (TSB-67, S18); T568A against T568B at the other end is crossed pairs."""
    assert classify({**STRAIGHT, **changed}) == expected


def test_mates_are_the_pairs_of_the_connector() -> None:
    """IEC 60603-7 as in T568A and T568B (S27)."""
    assert {c: mate(c) for c in CONTACTS} == dict(zip("12345678", "21654387", strict=True))


TIMES = catalogue.rule("curve-clipped").tolerances["times_the_next"]


@given(
    st.floats(-5, -3),
    st.floats(1, 500),
    st.floats(0, 0.1),
    st.sampled_from([0.1, 0.2]),
    st.sampled_from([1.0, -1.0]),
)
def test_the_rounded_top_of_a_smooth_curve_is_not_clipped(
    width: float, middle: float, off: float, step: float, way: float
) -> None:
    """Parabolas of any width, at any frequency, in any phase of the rounding: geometry, no source needed."""
    raw = 40 + way * (off + 10**width * (good.grid() - middle) ** 2)
    values = np.round(raw / step) * step
    extreme = values.min() if way > 0 else values.max()
    if np.ptp(values) > 0 and np.mean(values == extreme) >= 0.04:
        assert not _cut_off(values, extreme, TIMES)


@pytest.mark.parametrize("high", [45.0, 55.0, 60.0])
@pytest.mark.parametrize("seed", [1, 2, 3])
def test_a_clipped_curve_is(seed: int, high: float) -> None:
    for (parameter, _, _), values in good.curves(seed=seed).items():
        cut = np.minimum(values, high)
        if parameter == "next" and np.mean(cut == high) >= 0.04:
            assert _cut_off(cut, high, TIMES)
