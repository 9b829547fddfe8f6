"""Decision rules and the probability of a wrong verdict: stated where an uncertainty is, and nothing invented."""

from __future__ import annotations

import math
import statistics

import numpy as np
import pytest

from archive import limits
from archive.errors import Trouble
from archive.grading import grade, load_accuracy
from tests.grading import making
from tests.grading.making import CAT6A, batch, grid, record, verdict

SOURCE = 'source = "certificate of unit 40-00317"\n'
BASIS = "accuracy by accuracy.toml: certificate of unit 40-00317"
ALL = "[accuracy]\ninsertion_loss = 0.4\nreturn_loss = 2.0\nnext = 1.0\nps_next = 1.0\nacr_f = 1.5\nps_acr_f = 1.5\n"


def accuracy(tmp_path, text):
    path = tmp_path / "accuracy.toml"
    path.write_text(text, encoding="utf-8")
    return load_accuracy(path)


def beyond(margin, u):
    """The part of a normal distribution beyond the limit, by Python's own statistics."""
    return statistics.NormalDist(margin, u).cdf(0.0)


def test_without_an_uncertainty_the_verdict_says_so():
    for margin, word in ((5.0, "pass"), (-2.0, "fail")):
        found = verdict(grade(batch(record(CAT6A, margin=margin))))
        assert found["verdict"] == word
        assert (found["decision"], found["wrong_probability"]) == ("simple acceptance; uncertainty not stated", None)


def test_nothing_is_decided_of_what_is_not_graded():
    part = record(CAT6A)
    part["sweeps"] = [row for row in part["sweeps"] if row["parameter"] != "next"]
    found = verdict(grade(batch(part)))
    assert (found["verdict"], found["decision"]) == ("not graded", None)
    assert verdict(grade(batch(record(CAT6A, limit_found="unknown words"))))["decision"] is None


def test_the_probability_of_a_false_accept_is_that_of_the_most_critical_margin(tmp_path):
    """Margins by parameter against their own uncertainties: return loss is less sure than insertion loss."""
    known = accuracy(tmp_path, SOURCE + "coverage_factor = 2\n" + ALL)
    graded = grade(batch(record(CAT6A, margin=0.4)), accuracy=known)
    found = verdict(graded)
    widths = {"insertion_loss": 0.4, "return_loss": 2.0, "next": 1.0, "ps_next": 1.0, "acr_f": 1.5, "ps_acr_f": 1.5}
    rows = [r for r in graded["grades"].to_pylist() if r["kind"] == "worst_margin" and r["parameter"] in widths]
    assert len(rows) > 20
    wanted = max(beyond(row["margin"], widths[row["parameter"]] / 2) for row in rows)
    assert found["verdict"] == "pass" and found["wrong_probability"] == pytest.approx(wanted, abs=1e-9)
    assert found["decision"] == (
        f"simple acceptance; {BASIS} (k = 2), not stated for propagation delay, delay skew; "
        f"{100 * wanted:.2g} % probability of a false accept at the most critical worst margin"
    )


def test_a_fail_is_wrong_only_where_every_failing_value_is(tmp_path):
    known = accuracy(tmp_path, SOURCE + "coverage_factor = 2\n[accuracy]\nnext = 2.0\n")
    part = record(CAT6A, margin=5.0)
    bar = limits.get(CAT6A).lines["next"].at(np.array(grid()[-1:])).item()
    short = []
    for pairing, by in (("1-2/3-6", 0.5), ("1-2/4-5", 1.5)):
        row = making.find(part, "next", "local", pairing)
        row["values"][-1] = round(bar - by, 6)
        short.append(by)
    found = verdict(grade(batch(part), accuracy=known))
    assert found["verdict"] == "fail"
    assert found["wrong_probability"] == pytest.approx(beyond(max(short), 1.0), abs=1e-7)
    assert "probability of a false reject" in found["decision"]


def test_without_a_coverage_factor_no_probability_is_made_up(tmp_path):
    found = verdict(grade(batch(record(CAT6A, margin=0.4)), accuracy=accuracy(tmp_path, SOURCE + ALL)))
    assert found["wrong_probability"] is None
    assert BASIS + ", without a coverage factor" in found["decision"] and found["decision"].endswith("no probability")


def test_a_guard_band_withholds_a_pass_and_nothing_else(tmp_path):
    text = SOURCE + 'coverage_factor = 2\ndecision = "guarded"\nguard_band = 1.0\n' + ALL
    known = accuracy(tmp_path, text)
    near = verdict(grade(batch(record(CAT6A, margin=0.4)), accuracy=known))
    assert near["verdict"] == "not graded" and near["decision"] is None
    assert near["reason"].startswith("guarded acceptance: ") and "within the guard band" in near["reason"]
    assert "return loss" in near["reason"] and "propagation delay" not in near["reason"]
    far = verdict(grade(batch(record(CAT6A, margin=5.0)), accuracy=known))
    assert far["verdict"] == "pass" and far["decision"].startswith(
        "guarded acceptance, guard band 1 times the accuracy; "
    )
    fails = verdict(grade(batch(record(CAT6A, margin=-0.4)), accuracy=known))
    assert fails["verdict"] == "fail"
    plain = verdict(grade(batch(record(CAT6A, margin=0.4)), accuracy=accuracy(tmp_path, SOURCE + ALL)))
    assert plain["verdict"] == "pass"


def test_a_known_zero_uncertainty_leaves_no_doubt(tmp_path):
    known = accuracy(tmp_path, SOURCE + "coverage_factor = 2\n[accuracy]\nnext = 0\n")
    found = verdict(grade(batch(record(CAT6A, margin=0.4)), accuracy=known))
    assert found["wrong_probability"] == 0.0 and "less than 0.01 %" in found["decision"]


def test_the_probability_falls_as_the_margin_grows(tmp_path):
    known = accuracy(tmp_path, SOURCE + "coverage_factor = 2\n" + ALL)
    shares = [
        verdict(grade(batch(record(CAT6A, margin=m)), accuracy=known))["wrong_probability"] for m in (0.1, 0.5, 1, 3)
    ]
    assert shares == sorted(shares, reverse=True) and 0 < shares[0] < 0.5 and shares[-1] < 0.01


@pytest.mark.parametrize(
    ("text", "message"),
    [
        (SOURCE + "coverage_factor = 0\n[accuracy]\nnext = 1", "coverage_factor: a value out of range"),
        (SOURCE + 'decision = "guarded"\n[accuracy]\nnext = 1', "a guarded decision needs its guard_band"),
        (SOURCE + "guard_band = 1.0\n[accuracy]\nnext = 1", "a guarded decision needs its guard_band"),
        (SOURCE + 'decision = "lenient"\n[accuracy]\nnext = 1', "no such word; found 'lenient'"),
        (SOURCE + "[accuracy]\nnxt = 1", "no such parameter: 'nxt'"),
        (SOURCE + "[accuracy]\nnext = nan", "accuracy.next: a value out of range"),
        (SOURCE + "[accuracy]\nnext = { at_mhz = [2, 1], is = [1, 2] }", "frequencies that do not rise"),
        (SOURCE + "[accuracy]\nnext = { at_mhz = [1, 2], is = [1, true] }", "accuracy.next.is[1]: a value of another"),
    ],
)
def test_a_file_that_does_not_fit(tmp_path, text, message):
    with pytest.raises(Trouble) as raised:
        accuracy(tmp_path, text)
    assert message in str(raised.value), str(raised.value)


def test_the_normal_distribution_is_python_s_own():
    assert beyond(1.0, 0.5) == pytest.approx(0.5 * math.erfc(2 / math.sqrt(2)))
