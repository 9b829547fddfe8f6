"""How sure a number is: what bounds leave of sums, differences, margins and counts, to the last digit."""

from decimal import Decimal, localcontext
from fractions import Fraction

import numpy as np
import pytest

from archive.grading.arithmetic import EXACT, Values, difference, mean, power_sum, total, worst
from tests.grading.test_grading_arithmetic import bounded, inf, line, nan

GRID = Fraction(1, 2**30)
"""Power sums and means lie on multiples of this, dB, so that they are equal on every processor."""


def summed(*contributors):
    values = Values.exact(np.array([[[x] for x in contributors]]))
    return float(power_sum(values, np.array([list(range(len(contributors)))])).low[0, 0, 0])


def by_decimals(*contributors):
    """The same to fifty digits, then the nearest multiple of the grid."""
    with localcontext() as context:
        context.prec = 50
        exact = -10 * sum(Decimal(10) ** (-Decimal(x) / 10) for x in contributors).log10()
        return round(Fraction(exact) / GRID) * GRID


@pytest.mark.parametrize(
    "contributors", [(40.0, 45.0, 50.0), (33.1, 47.9, 52.3), (60.0, 60.0, 60.0), (70.3, 12.7, 99.9), (35.4, 35.5, 35.6)]
)
def test_a_power_sum_has_the_seventeen_digits_of_a_decimal_computation(contributors):
    assert Fraction(summed(*contributors)) == by_decimals(*contributors)


def test_the_grid_of_power_sums_is_as_coarse_as_noise_and_no_coarser():
    """2^-30 dB: far above the noise of logarithms, far below the steps of any export."""
    steps = {Fraction(summed(40.0, x)) / GRID for x in np.linspace(45, 45.00001, 300).tolist()}
    assert all(step.denominator == 1 for step in steps) and len(steps) > 250
    average = mean(Values.exact(np.array([[[10.1], [20.2], [30.3]]])), np.array([[0, 1, 2]])).low[0, 0, 0]
    assert Fraction(float(average)) == round(Fraction("20.2") / GRID) * GRID


@pytest.mark.parametrize("operation", [difference, total])
@pytest.mark.parametrize("which", ["one", "other"])
def test_one_bounded_curve_makes_the_result_bounded(operation, which):
    exact = Values.exact(np.array([[[50.0, 40.0]]]))
    unsure = Values(np.array([[[9.0, 8.0]]]), np.array([[[10.0, 8.0]]]))
    one, other = (unsure, exact) if which == "one" else (exact, unsure)
    found = operation(one, other, np.array([0]), np.array([0]))
    assert not found.is_exact
    assert (found.high - found.low)[0, 0].tolist() == [1.0, 0.0]
    sure = operation(exact, exact, np.array([0]), np.array([0]))
    assert sure.is_exact and sure.low[0, 0].tolist() == ([0.0, 0.0] if operation is difference else [100.0, 80.0])


def test_the_margin_of_more_than_seventy_is_that_of_seventy():
    """A minimum: the smallest margin is the one that is sure, and the value is the bound."""
    found = worst(bounded([70.0, 66.0, 80.0], above=[0]), line(60, 60, 60), maximum=False)
    assert (found.at[0, 0], found.value[0, 0], found.margin[0, 0]) == (1, 66.0, 6.0)
    found = worst(bounded([64.0, 66.0, 80.0], above=[0]), line(60, 60, 60), maximum=False)
    assert (found.at[0, 0], found.value[0, 0], found.margin[0, 0]) == (0, 64.0, 4.0)
    assert (found.undecided[0, 0], found.judged[0, 0], bool(found.failed[0, 0])) == (0, 3, False)


def test_the_margin_of_less_than_a_value_that_fails_is_the_best_it_can_be():
    found = worst(bounded([50.0, 66.0], below=[0]), line(60, 60), maximum=False)
    assert (found.at[0, 0], found.value[0, 0], found.margin[0, 0]) == (0, 50.0, -10.0)
    assert (bool(found.failed[0, 0]), found.undecided[0, 0]) == (True, 0)
    found = worst(bounded([30.0, 5.0], above=[0]), line(20, 20), maximum=True)
    assert (found.at[0, 0], found.value[0, 0], found.margin[0, 0]) == (0, 30.0, -10.0)


def test_the_margin_of_less_than_a_value_that_meets_a_maximum_is_that_of_the_value():
    found = worst(bounded([18.0, 5.0], below=[0]), line(20, 20), maximum=True)
    assert (found.at[0, 0], found.value[0, 0], found.margin[0, 0]) == (0, 18.0, 2.0)


@pytest.mark.parametrize("maximum", [False, True])
@pytest.mark.parametrize("route", ["exact", "bounded"])
@pytest.mark.parametrize(("below", "fails"), [(0.0, False), (0.9e-9, False), (1.1e-9, True), (1e-8, True)])
def test_a_billionth_of_a_decibel_is_the_tolerance_on_every_route(maximum, route, below, fails):
    assert EXACT == 1e-9
    limits = line(0.25, 0.25)
    values = np.array([0.25 + below, 0.2] if maximum else [0.25 - below, 0.3])
    given = Values.exact(values.reshape(1, 1, 2)) if route == "exact" else bounded(values)
    found = worst(given, limits, maximum)
    assert bool(found.failed[0, 0]) == fails
    assert found.undecided[0, 0] == 0


@pytest.mark.parametrize("maximum", [False, True])
def test_a_bound_exactly_on_the_limit_is_decided_where_it_is_sure(maximum):
    """More than 60 meets a minimum of 60; less than 60 meets a maximum of 60."""
    marks = {"below": [0]} if maximum else {"above": [0]}
    found = worst(bounded([60.0], **marks), line(60), maximum)
    assert (found.undecided[0, 0], bool(found.failed[0, 0]), found.margin[0, 0]) == (0, False, 0.0)
    marks = {"above": [0]} if maximum else {"below": [0]}
    found = worst(bounded([60.0], **marks), line(60), maximum)
    assert (found.undecided[0, 0], bool(found.failed[0, 0])) == (1, False)


def test_the_worst_value_may_be_a_bound_and_never_a_missing_point():
    found = worst(bounded([nan, 70.0, 80.0], above=[1]), line(60, 60, 60), maximum=False)
    assert (found.value_at[0, 0], found.worst_value[0, 0]) == (1, 70.0)
    found = worst(bounded([nan, 7.0, 8.0], below=[2]), line(60, 60, 60), maximum=True)
    assert (found.value_at[0, 0], found.worst_value[0, 0]) == (2, 8.0)
    nothing = worst(bounded([nan]), line(60), maximum=False)
    assert nothing.value_at[0, 0] == -1 and np.isnan(nothing.worst_value[0, 0])


def test_counts_of_points_leave_out_those_for_information():
    out = np.array([[[True, False, False, False]]])
    found = worst(bounded([nan, nan, 70.0, 50.0], above=[2]), line(60, 60, 75, 40), False, out)
    assert (found.undecided[0, 0], found.judged[0, 0]) == (2, 3)
    assert (found.at[0, 0], found.margin[0, 0]) == (3, 10.0)


def test_a_value_that_misses_its_limit_where_it_may_be_exempt_is_undecided():
    exempt = np.array([[[True, False, True]]])
    values = Values.exact(np.array([[[50.0, 61.0, 62.0]]]))
    found = worst(values, line(60, 60, 60), False, None, exempt)
    assert (bool(found.failed[0, 0]), found.undecided[0, 0], found.judged[0, 0]) == (False, 1, 3)
    assert (found.at[0, 0], found.margin[0, 0]) == (1, 1.0)
    found = worst(values, line(60, 62, 60), False, None, exempt)
    assert (bool(found.failed[0, 0]), found.margin[0, 0]) == (True, -1.0)
    assert inf > found.worst_value[0, 0] == 50.0
