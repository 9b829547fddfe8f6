"""How much of a limit's range a sweep must cover, and how densely (steps of field tests: reference section 6, C)."""

import numpy as np
import pytest

from archive.grading import grade
from archive.grading.coverage import reach
from tests.grading.making import CAT5, CAT6A, batch, find, grid, record, verdict

PRINTED = [1, 4, 8, 10, 16, 20, 25, 31.25, 62.5, 100, 200, 250, 300, 400, 500]


@pytest.mark.parametrize(
    ("limit", "frequencies", "reason"),
    [
        ("tia-568.2-d/cat6/permanent-link", [f for f in PRINTED if f <= 200], "covers 1-200 of 1-250 MHz"),
        (CAT6A, [f for f in PRINTED if f <= 400], "covers 1-400 of 1-500 MHz"),
        (CAT6A, np.append(1, np.arange(25, 500, 25)), "covers 1-475 of 1-500 MHz"),
        (CAT6A, np.arange(20, 501, 20), "covers 20-500 of 1-500 MHz"),
        (CAT6A, [1, 10, 100, 300, 500], "gap 100-300 MHz"),
        (CAT6A, PRINTED, "gap 100-200 MHz"),
        (CAT5, [f for f in PRINTED if f <= 100], "gap 62.5-100 MHz"),
        (CAT6A, np.arange(1, 400), "covers 1-399 of 1-500 MHz"),
    ],
)
def test_a_coarse_sweep_that_leaves_much_out_never_passes(limit, frequencies, reason):
    found = verdict(grade(batch(record(limit, f=np.array(frequencies, float)))))
    assert (found["verdict"], found["reason"]) == ("not graded", reason)


def test_a_gap_is_not_graded_and_a_fail_stays_one():
    f = np.arange(1.0, 101.0)
    part = record(CAT5, f=f[(f <= 40) | (f >= 50)])
    assert verdict(grade(batch(part)))["reason"] == "gap 40-50 MHz"
    find(part, "next", "local", "1-2/3-6")["values"][-1] = 3.0
    assert verdict(grade(batch(part)))["verdict"] == "fail"


@pytest.mark.parametrize("limit", [CAT5, CAT6A, "iso-11801-1/class-e/channel"])
def test_a_sweep_in_steps_of_one_megahertz_passes_provisionally_and_names_its_largest_gap(limit):
    top = 100 if limit == CAT5 else 250 if "class-e/" in limit else 500
    found = verdict(grade(batch(record(limit, f=np.arange(1.0, top + 1)))))
    assert (found["verdict"], found["provisional"]) == ("pass", True)
    assert found["reason"].endswith("largest gap 1-2 MHz, field tests step 0.15 MHz")
    assert "steps wider than field-test standards allow" in found["provisional_because"]


def test_a_sweep_in_the_steps_of_field_tests_is_firm():
    found = verdict(grade(batch(record(CAT5, f=grid(1, 100)))))
    assert (found["verdict"], found["reason"], found["provisional_because"] or "") == ("pass", None, "")


def test_a_fail_between_wide_steps_is_no_less_firm():
    part = record(CAT5, f=np.arange(1.0, 101.0))
    find(part, "next", "local", "1-2/3-6")["values"][50] = 3.0
    found = verdict(grade(batch(part)))
    assert (found["verdict"], found["provisional"]) == ("fail", False)


@pytest.mark.parametrize(("end", "missed", "whole"), [("low", 0.15, True), ("low", 0.16, False), ("high", 1.0, True)])
def test_an_end_may_be_missed_by_one_step_of_field_tests(end, missed, whole):
    f = grid(1, 500)
    f = f[f >= 1 + missed] if end == "low" else f[f <= 500 - missed]
    f = np.append(1 + missed, f) if end == "low" else np.append(f, 500 - missed)
    assert reach(np.unique(f), 1, 500).whole == whole
    assert not reach(f[f <= 498], 1, 500).whole


def test_ten_steps_are_a_gap_that_is_graded_and_more_are_not():
    f = grid(1, 500)
    for wide, gap in ((10.0, ""), (10.1, "gap 300-310.1 MHz")):
        found = reach(np.concatenate([f[f <= 300], 300 + wide + np.arange(0, 200 - wide + 1e-9, 0.5)]), 1, 499.9)
        assert found.gap == gap
        assert gap or found.coarse == "largest gap 300-310 MHz, field tests step 1 MHz"


def test_five_percent_of_a_narrow_range_are_a_gap():
    """Class C, 1 to 16 MHz: 0.75 MHz; but steps of 1 MHz are always graded."""
    assert reach(np.arange(1, 17), 1, 16).whole
    assert reach([*np.arange(1, 8, 0.5), *np.arange(8.2, 16.1, 0.2)], 1, 16).whole
    assert reach([*np.arange(1, 8, 0.15), *np.arange(9.2, 16.1, 0.2)], 1, 16).gap == "gap 7.9-9.2 MHz"
