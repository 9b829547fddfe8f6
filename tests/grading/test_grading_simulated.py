"""Whole simulated jobs: the simulated instrument judged by the same standard, apart from our code paths for export."""

import numpy as np
import pytest

from archive.demo.simulator import planted, simulate
from archive.grading import grade

CATEGORIES = ("cat5e", "cat6", "cat6a", "cat7")


@pytest.mark.parametrize("category", CATEGORIES)
def test_the_simulated_instrument_and_the_second_opinion_agree(category):
    graded = grade(next(simulate(40, 7, category=category)))
    rows = graded["verdicts"].to_pylist()
    reported = graded["records"].column("reported_verdict").to_pylist()
    assert [r["verdict"] for r in rows] == reported
    assert {r["agrees"] for r in rows} == {True}
    assert {r["covers_from_mhz"] for r in rows} == {1.0}


def test_planted_failures_are_found_at_the_parameter_where_they_were_planted():
    truth = planted(240, 3)
    rows = [row for batch in simulate(240, 3) for row in grade(batch)["verdicts"].to_pylist()]
    failed = np.array([r["verdict"] == "fail" for r in rows])
    assert truth["fails"].any()
    assert np.array_equal(failed, truth["fails"])
    for place in np.flatnonzero(failed):
        assert rows[place]["parameter"].removeprefix("ps_") == truth["parameter"][place]


def test_statements_of_a_simulated_job_fit_the_tables():
    graded = grade(next(simulate(3, 1)))
    grades = graded["grades"].to_pylist()
    assert len(
        {(r["record_id"], r["limit_id"], r["parameter"], r["kind"], r["end"], r["pairing"]) for r in grades}
    ) == len(grades)
    for row in grades:
        if row["margin"] is not None and row["limit"] is not None:
            sign = (
                1
                if row["parameter"] in ("insertion_loss", "length")
                or "delay" in row["parameter"]
                or "resistance" in row["parameter"]
                else -1
            )
            assert row["margin"] == pytest.approx(sign * (row["limit"] - row["value"]), abs=3e-9)
            assert (row["margin"] < 0) <= (row["verdict"] == "fail" or row["kind"] == "worst_value")
