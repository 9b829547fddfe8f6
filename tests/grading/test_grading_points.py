"""Partial evidence: worst points and bare verdicts are graded as far as they go."""

import pytest

from archive import limits, vocabulary
from archive.grading import grade
from tests.grading.making import CAT6A, batch, grades, one, verdict


def points(*rows, **facts):
    """A record of which only reported points came along."""
    record = {"record_id": "re-1", "limit_found": CAT6A, "evidence": "worst-points", "reported_verdict": "pass"}
    base = {"record_id": "re-1", "kind": "worst_margin", "end": "local", "step": 0.1}
    return {"records": [{**record, **facts}], "reported": [{**base, **row} for row in rows]}


def limit_at(parameter, f):
    return float(limits.get(CAT6A).lines[parameter].at(f))


def test_a_worst_point_that_meets_the_limit_proves_no_pass():
    f, bar = 484.0, limit_at("next", 484.0)
    part = points({"parameter": "next", "pairing": "3-6/4-5", "frequency_mhz": f, "value": round(bar + 2.2, 1)})
    graded = grade(batch(part))
    found = verdict(graded)
    assert found["verdict"] == "not graded" and "NEXT: worst points only" in found["reason"]
    assert (found["parameter"], found["pairing"], found["frequency_mhz"]) == ("next", "3-6/4-5", f)
    assert found["margin"] == pytest.approx(round(bar + 2.2, 1) - bar, abs=1e-8)
    (row,) = grades(graded, parameter="next", kind="worst_margin")
    assert (row["verdict"], row["limit"]) == ("not graded", pytest.approx(bar, abs=1e-8))


def test_a_worst_point_that_misses_the_limit_fails():
    bar = limit_at("next", 484.0)
    part = points({"parameter": "next", "pairing": "3-6/4-5", "frequency_mhz": 484.0, "value": round(bar - 0.7, 1)})
    found = verdict(grade(batch(part)))
    assert (found["verdict"], found["parameter"], found["agrees"]) == ("fail", "next", False)


def test_a_value_is_rebuilt_from_margin_and_limit_and_that_is_said():
    part = points({"parameter": "next", "frequency_mhz": 484.0, "limit": limit_at("next", 484.0), "margin": -0.8})
    graded = grade(batch(part))
    assert verdict(graded)["verdict"] == "fail"
    assert "rebuilt from margin and limit" in one(graded, parameter="next", kind="worst_margin")["reason"]


def test_an_altered_limit_is_named_even_where_only_points_are_there():
    bar = limit_at("return_loss", 454.0)
    row = {"parameter": "return_loss", "pairing": "3-6", "frequency_mhz": 454.0, "value": round(bar + 1, 1)}
    found = verdict(grade(batch(points({**row, "limit": round(bar - 2, 1), "margin": 3.0}))))
    assert found["agrees"] is False and "the instrument's limit at 454 MHz is" in found["reason"]


def test_a_worst_value_where_points_may_be_informational_is_no_fail():
    """RL at a frequency where the pair may lose less than 3 dB: the instrument left it out of its margin."""
    row = {"parameter": "return_loss", "pairing": "3-6", "frequency_mhz": 1.0, "value": 5.0, "kind": "worst_value"}
    assert verdict(grade(batch(points(row))))["verdict"] == "not graded"
    assert verdict(grade(batch(points({**row, "kind": "worst_margin"}))))["verdict"] == "fail"


def test_margins_without_value_and_frequency_cannot_be_graded():
    found = verdict(grade(batch(points({"parameter": "next", "margin": 2.2}))))
    assert found["verdict"] == "not graded"
    assert found["reason"] == "worst points only, without a value and a frequency to grade"


def test_a_bare_verdict_is_not_graded():
    found = verdict(grade(batch(points(evidence="verdict-only"))))
    assert (found["verdict"], found["reason"], found["agrees"]) == ("not graded", "no measurements", None)


def test_a_point_against_another_limit():
    """A category 6A link whose worst NEXT is far above category 6's: still only worst points."""
    row = {"parameter": "next", "pairing": "3-6/4-5", "frequency_mhz": 200.0, "value": 20.0}
    found = verdict(grade(batch(points(row)), "tia-568.2-d/cat6/channel"))
    assert found["verdict"] == "fail"


def test_readings_of_a_record_with_worst_points_are_graded():
    part = points({"parameter": "next", "pairing": "3-6/4-5", "frequency_mhz": 100.0, "value": 60.0})
    part["readings"] = [
        {"record_id": "re-1", "quantity": "propagation_delay", "subject": p, "origin": "measured", "value": v}
        for p, v in zip(("1-2", "3-6", "4-5", "7-8"), (400, 401, 402, 480), strict=True)
    ]
    found = verdict(grade(batch(part)))
    assert (found["verdict"], found["parameter"], found["margin"]) == ("fail", "delay_skew", -36.0)


def test_worst_points_out_of_the_range_of_a_limit_are_said_to_be_so():
    row = {"parameter": "next", "pairing": "3-6/4-5", "frequency_mhz": 400.0, "value": 40.0}
    found = verdict(grade(batch(points(row)), "tia-568.2-d/cat6/permanent-link"))
    assert (found["verdict"], found["reason"]) == ("not graded", "worst points only, none in the range of this limit")


def test_a_fail_that_rests_on_a_worst_value_names_it():
    row = {"parameter": "next", "pairing": "3-6/4-5", "frequency_mhz": 484.0, "value": 10.0, "kind": "worst_value"}
    graded = grade(batch(points(row)))
    found = verdict(graded)
    assert (found["verdict"], found["parameter"], found["pairing"], found["end"]) == (
        "fail",
        "next",
        "3-6/4-5",
        "local",
    )
    assert (found["frequency_mhz"], found["value"]) == (484.0, 10.0)
    assert found["margin"] == one(graded, parameter="next", kind="overall")["margin"] < -10
    assert found["leading_margin"] == found["margin"]


def test_an_average_of_alien_power_sums_is_called_one():
    assert vocabulary.parameter("ps_anext_average").name == "average PS ANEXT"
    assert vocabulary.parameter("ps_aacr_f_average").name == "average PS AACR-F"


@pytest.mark.parametrize("said", [None, ""])
def test_an_empty_verdict_of_the_instrument_contradicts_nothing(said):
    part = points({"parameter": "next", "pairing": "3-6/4-5", "frequency_mhz": 484.0, "value": 10.0, "verdict": said})
    part["records"][0]["reported_verdict"] = said
    found = verdict(grade(batch(part)))
    assert found["verdict"] == "fail" and "instrument says" not in found["reason"] and found["agrees"] is None
