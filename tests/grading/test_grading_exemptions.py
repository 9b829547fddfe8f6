"""Points for information only: return loss below 3 dB of insertion loss, ISO NEXT below 4 dB."""

import numpy as np
import pytest

from archive import limits
from archive.grading import grade
from archive.tables import axis_row
from tests.grading.making import PAIRS, batch, find, grades, one, record, sweep, verdict

E = "iso-11801-1/class-e/channel"


def failing(parameter, value, at=2.05):
    """A class E link with one value that misses its limit where the pairs lose about 2 dB."""
    part = record(E)
    f = np.array(part["axes"][0]["frequencies_mhz"])
    place = int(np.argmin(np.abs(f - at)))
    pairing = "1-2" if parameter == "return_loss" else "1-2/3-6"
    find(part, parameter, "local", pairing)["values"][place] = value
    for pair in PAIRS:
        find(part, "insertion_loss", None, pair)["values"][place] = 1.9
    return part, place


def without_loss(part):
    part["sweeps"] = [row for row in part["sweeps"] if row["parameter"] != "insertion_loss"]
    return part


def on_coarse_axis(part, low, high):
    """Insertion loss in steps of 1 MHz; low and high: at 2 and at 3 MHz."""
    axis = axis_row(np.arange(1.0, 251.0))
    part["axes"].append(axis)
    f = np.arange(1.0, 251.0)
    values = np.maximum(limits.get(E).lines["insertion_loss"].at(f) - 5, 0.3).round(1)
    values[1], values[2] = low, high
    part = without_loss(part)
    for pair in PAIRS:
        part["sweeps"].append(sweep(("insertion_loss", None, pair), values, axis["axis_id"]))
    return part


def changed_loss(part, place, **marks):
    for pair in PAIRS:
        row = find(part, "insertion_loss", None, pair)
        row["values"][place] = marks.get("value", row["values"][place])
        for k in range(30) if marks.get("below") else ():
            row["values"][k] = marks["value"]
        row["below"] = list(range(30)) if marks.get("below") else []
    return part


CASES = [("return_loss", 3.0), ("next", 20.0)]


@pytest.mark.parametrize(("parameter", "value"), CASES)
def test_a_known_loss_below_the_threshold_exempts(parameter, value):
    part, _ = failing(parameter, value)
    graded = grade(batch(part))
    assert verdict(graded)["verdict"] == "pass"
    row = one(graded, parameter=parameter, kind="overall")
    assert row["left_out_points"] > 0 and row["left_out_from_mhz"] == 1.0 and row["left_out_to_mhz"] >= 2.05
    assert row["left_out_rule"].startswith(f"insertion loss below {3 if parameter == 'return_loss' else 4} dB (")


@pytest.mark.parametrize(("parameter", "value"), CASES)
def test_without_insertion_loss_nothing_is_decided(parameter, value):
    part, _ = failing(parameter, value)
    graded = grade(batch(without_loss(part)))
    assert verdict(graded)["verdict"] == "not graded"
    reason = one(graded, parameter=parameter, kind="overall")["reason"]
    assert "may be for information only: insertion loss is not known there" in reason


@pytest.mark.parametrize(("parameter", "value"), CASES)
def test_a_loss_known_only_as_a_bound_that_reaches_above_the_threshold_decides_nothing(parameter, value):
    part, place = failing(parameter, value)
    found = verdict(grade(batch(changed_loss(part, place, value=4.5, below=True))))
    assert found["verdict"] == "not graded" and "insertion loss is not known there" in found["reason"]
    threshold = 3.0 if parameter == "return_loss" else 4.0
    changed_loss(part, place, value=threshold, below=True)
    assert one(grade(batch(part)), parameter=parameter, kind="overall")["verdict"] == "pass"


@pytest.mark.parametrize(("parameter", "value"), CASES)
def test_a_missing_point_between_two_below_the_threshold_is_interpolated_and_said(parameter, value):
    part, place = failing(parameter, value)
    graded = grade(batch(changed_loss(part, place, value=None)))
    row = one(graded, parameter=parameter, kind="overall")
    assert row["verdict"] == "pass" and row["provisional"]
    assert "insertion loss interpolated between the points beside" in row["reason"]
    assert "insertion loss interpolated" in row["provisional_because"]


@pytest.mark.parametrize(
    ("low", "high", "expected"), [(1.9, 2.2, "pass"), (2.9, 3.1, "not graded"), (3.4, 3.5, "fail")]
)
def test_a_loss_on_another_axis_is_interpolated_between_neighbours_that_agree(low, high, expected):
    part, _ = failing("return_loss", 3.0)
    graded = grade(batch(on_coarse_axis(part, low, high)))
    row = one(graded, parameter="return_loss", kind="overall")
    assert row["verdict"] == expected
    assert ("interpolated" in row["reason"]) == (expected != "not graded")
    assert row["provisional"] == (expected != "fail") or expected == "not graded"


def test_exactly_the_threshold_counts():
    part, place = failing("return_loss", 3.0)
    found = verdict(grade(batch(changed_loss(part, place, value=3.0))))
    assert (found["verdict"], found["parameter"], found["frequency_mhz"]) == ("fail", "return_loss", 2.05)


def test_next_needs_both_pairs_below_the_threshold():
    part, place = failing("next", 20.0)
    find(part, "insertion_loss", None, "3-6")["values"][place] = 4.2
    assert one(grade(batch(part)), parameter="next", kind="overall")["verdict"] == "fail"
    find(part, "insertion_loss", None, "3-6")["values"][place] = 4.0
    for row in part["sweeps"]:
        if (row["parameter"], row["pairing"]) == ("insertion_loss", "1-2"):
            row["values"] = [None] * len(row["values"])
    row = one(grade(batch(part)), parameter="next", kind="overall")
    assert row["verdict"] == "fail", "one pair above the threshold is enough, whatever the other"
    find(part, "insertion_loss", None, "3-6")["values"][place] = 1.9
    row = one(grade(batch(part)), parameter="next", kind="overall")
    assert row["verdict"] == "not graded" and "insertion loss is not known there" in row["reason"]


def test_points_left_out_are_part_of_the_verdict():
    part, _ = failing("return_loss", 3.0)
    graded = grade(batch(part))
    rows = [r for r in grades(graded, parameter="return_loss", kind="worst_margin") if r["left_out_points"]]
    overall = one(graded, parameter="return_loss", kind="overall")
    assert rows and overall["left_out_points"] == sum(r["left_out_points"] for r in rows)
    assert overall["left_out_to_mhz"] == max(r["left_out_to_mhz"] for r in rows)
    text = f"return loss: {overall['left_out_points']} points from 1 to {overall['left_out_to_mhz']:g} MHz, "
    assert text + overall["left_out_rule"] in verdict(graded)["left_out"]
    far = [row for row in grades(graded, kind="overall") if row["parameter"] == "insertion_loss"]
    assert far and far[0]["left_out_points"] is None and far[0]["left_out_rule"] is None


def test_a_worst_margin_tested_to_another_limit_may_lie_where_points_are_exempt():
    """Tested to category 6, which has no such rule for NEXT; class E leaves it out where the pairs lose little."""
    row = {"record_id": "re-1", "kind": "worst_margin", "end": "local", "step": 0.1, "parameter": "next"}
    row |= {"pairing": "1-2/3-6", "frequency_mhz": 2.0, "value": 50.0}
    facts = {"record_id": "re-1", "limit_found": "tia-568.2-d/cat6/permanent-link", "evidence": "worst-points"}
    part = {"records": [facts], "reported": [row]}
    found = verdict(grade(batch(part), E))
    assert found["verdict"] == "not graded" and "may be for information only" in found["reason"]
    part["records"][0]["limit_found"] = E
    assert verdict(grade(batch(part)))["verdict"] == "fail", "the instrument leaves such points out of its margin"


@pytest.mark.parametrize(
    ("fext", "above", "expected"),
    [(70.0, False, "fail"), (70.1, False, "pass"), (70.0, True, "pass"), (69.0, True, "not graded")],
)
def test_acr_f_is_for_information_where_fext_is_surely_above_the_threshold(fext, above, expected):
    """ISO: far-end crosstalk above 70 dB is not measured well (reference section 3)."""
    limit = limits.get(E)
    assert {rule.word: rule.value for rule in limit.lines["acr_f"].exemptions} == {"fext_above": 70.0}
    part = record(E)
    f = np.array(part["axes"][0]["frequencies_mhz"])
    bar = limit.lines["acr_f"].at(f)
    place = int(np.flatnonzero(bar > 60)[-1])
    row = find(part, "fext", "local", "1-2/3-6")
    row["values"][place] = fext
    row["above"] = [place] if above else []
    loss = find(part, "insertion_loss", None, "3-6")
    loss["values"][place] = round(fext - float(bar[place]) + 2, 1)
    found = one(grade(batch(part)), parameter="acr_f", kind="worst_margin", end="local", pairing="1-2/3-6")
    assert found["verdict"] == expected
    assert (found["left_out_points"] or 0) >= (expected == "pass")
