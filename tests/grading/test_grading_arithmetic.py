"""Arithmetic of curves: bounds, worst points, ties."""

import numpy as np
import pytest

from archive.grading.arithmetic import EXACT, Values, difference, mean, power_sum, rounded, total, worst

nan, inf = np.nan, np.inf


def bounded(values, above=(), below=()):
    """One curve of one record; the named points are only bounds."""
    values = np.array([[values]], float)
    marks = [np.zeros(values.shape, bool) for _ in range(2)]
    for mark, points in zip(marks, (above, below), strict=True):
        mark[..., list(points)] = True
    return Values.bounded(values, *marks)


def line(*values):
    return np.array(values, float)


def test_a_point_on_its_limit_passes_and_a_ten_billionth_above_it_does_too():
    for off, fails in ((0.0, False), (-EXACT / 2, False), (-1e-6, True)):
        found = worst(Values.exact(np.array([[[40.0, 35.4 + off]]])), line(30, 35.4), maximum=False)
        assert found.failed[0, 0] == fails
        assert found.at[0, 0] == 1


def test_a_tie_goes_to_the_lowest_frequency():
    found = worst(Values.exact(np.array([[[12.0, 10.0, 10.0, 11.0]]])), line(8, 8, 8, 8), maximum=False)
    assert (found.at[0, 0], found.margin[0, 0]) == (1, 2.0)
    found = worst(Values.exact(np.array([[[1.0, 3.0, 3.0]]])), line(5, 5, 5), maximum=True)
    assert (found.at[0, 0], found.value_at[0, 0], found.margin[0, 0]) == (1, 1, 2.0)


def test_power_sums_of_the_same_values_in_another_order_tie():
    values = Values.exact(np.array([[[40.0, 45.0, 33.3], [45.0, 33.3, 40.0], [33.3, 40.0, 45.0]]]))
    sums = power_sum(values, np.array([[0, 1, 2]])).low[0, 0]
    assert len(set(sums.tolist())) == 1


@pytest.mark.parametrize("maximum", [False, True])
def test_more_than_a_value_passes_or_fails_only_where_that_is_sure(maximum):
    # minimum: more than 70 passes where the limit is 60, and says nothing where it is 75; maximum: the reverse
    values, limits = bounded([70.0, 70.0], above=[0, 1]), line(60, 75)
    found = worst(values, limits, maximum)
    assert found.undecided[0, 0] == 1
    assert found.failed[0, 0] == maximum


@pytest.mark.parametrize("maximum", [False, True])
def test_less_than_a_value_is_the_reverse(maximum):
    values, limits = bounded([10.0, 10.0], below=[0, 1]), line(20, 5)
    found = worst(values, limits, maximum)
    assert found.undecided[0, 0] == 1
    assert found.failed[0, 0] == (not maximum)


def test_a_missing_point_is_undecided_and_never_the_worst():
    found = worst(bounded([nan, 30.0, 20.0]), line(10, 10, 10), maximum=False)
    assert (found.undecided[0, 0], found.at[0, 0], found.margin[0, 0]) == (1, 2, 10.0)
    nothing = worst(bounded([nan, nan]), line(10, 10), maximum=False)
    assert nothing.at[0, 0] == -1 and np.isnan(nothing.margin[0, 0]) and nothing.undecided[0, 0] == 2


def test_points_left_out_are_neither_worst_margin_nor_worst_value():
    values = np.array([[[5.0, 30.0, 20.0]]])
    out = np.array([[[True, False, False]]])
    for given in (Values.exact(values), bounded([5.0, 30.0, 20.0])):
        found = worst(given, line(10, 10, 10), False, out)
        assert (found.at[0, 0], found.worst_value[0, 0], found.judged[0, 0]) == (2, 20.0, 2)
        assert not found.failed[0, 0]
    nothing = worst(Values.exact(values), line(10, 10, 10), False, np.ones((1, 1, 3), bool))
    assert (nothing.at[0, 0], nothing.judged[0, 0], nothing.failed[0, 0]) == (-1, 0, False)


def test_exact_and_bounded_ways_agree():
    rng = np.random.default_rng(1)
    values, limits = np.round(rng.uniform(20, 60, (5, 6, 40)), 1), rng.uniform(10, 50, 40)
    out = rng.random((5, 6, 40)) < 0.2
    for maximum in (False, True):
        for left_out in (None, out):
            one = worst(Values.exact(values), limits, maximum, left_out)
            none = np.zeros(values.shape, bool)
            other = worst(Values.bounded(values, none, none), limits, maximum, left_out)
            for name in ("at", "value", "margin", "value_at", "worst_value", "failed", "undecided", "judged"):
                assert np.array_equal(getattr(one, name), getattr(other, name)), (name, maximum)


def test_bounds_travel_through_sums_and_differences():
    near = Values(np.array([[[40.0], [-inf], [50.0]]]), np.array([[[40.0], [inf], [50.0]]]))
    sums = power_sum(near, np.array([[0, 1, 2]]))
    assert sums.low[0, 0, 0] == -inf
    assert sums.high[0, 0, 0] == pytest.approx(39.586, abs=0.001)  # 40 and 50 alone
    loss = Values(np.array([[[9.0]]]), np.array([[[10.0]]]))
    acr = difference(near, loss, np.array([0]), np.array([0]))
    assert (acr.low[0, 0, 0], acr.high[0, 0, 0]) == (30.0, 31.0)
    back = total(acr, loss, np.array([0]), np.array([0]))
    assert (back.low[0, 0, 0], back.high[0, 0, 0]) == (39.0, 41.0)
    average = mean(Values.exact(np.array([[[10.0], [20.0], [60.0]]])), np.array([[0, 1, 2]]))
    assert average.low[0, 0, 0] == pytest.approx(30.0)


def test_printed_numbers_have_nine_decimals_and_no_minus_zero():
    assert rounded(np.array([1 / 3, -1e-12])).tolist() == [0.333333333, 0.0]
    assert str(rounded(np.array([-1e-12]))[0]) == "0.0"
