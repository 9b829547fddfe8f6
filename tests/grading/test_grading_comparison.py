"""The second opinion: planted disagreements are caught and named; rounding is not called one."""

import numpy as np
import pytest

from archive import limits
from archive.grading import grade
from tests.grading import making
from tests.grading.making import CAT5, batch, find, grades, one, record, verdict

CAT5E = "tia-568.2-d/cat5e/channel"


def said(graded, verdict="pass", step=0.1):
    """What an honest instrument would have reported: worst margins and values by parameter, end and pairing."""
    out = []
    for row in graded["grades"].to_pylist():
        if row["kind"] != "overall" and row["margin"] is not None:
            names = ("record_id", "parameter", "kind", "end", "pairing", "frequency_mhz")
            point = {name: round(row[name], 1) for name in ("value", "limit", "margin")}
            out.append({**{n: row[n] for n in names}, **point, "verdict": row["verdict"], "step": step})
    return out


def honest(limit=CAT5E, **facts):
    """A record whose instrument says what its curves say."""
    part = record(limit, reported_verdict="pass", **facts)
    part["reported"] = said(grade(batch(part)))
    return part


def opinion(part, against=None):
    graded = grade(batch(part), against)
    return verdict(graded), graded


@pytest.mark.parametrize("limit", [CAT5, CAT5E, making.CAT6A, making.CLASS_EA])
def test_an_honest_record_agrees_everywhere(limit):
    found, graded = opinion(honest(limit))
    assert (found["verdict"], found["agrees"], found["reason"]) == ("pass", True, None)
    told = [r["agrees"] for r in grades(graded) if r["kind"] != "overall" or r["margin"] is not None]
    assert set(told) == {True}
    for row in grades(graded, kind="worst_margin"):
        assert row["margin"] - row["reported_margin"] == pytest.approx(0, abs=0.0501)


def test_a_flipped_verdict_is_caught():
    part = honest()
    part["records"][0]["reported_verdict"] = "fail"
    found, _ = opinion(part)
    assert (found["verdict"], found["agrees"]) == ("pass", False)
    assert "the instrument says fail" in found["reason"]


def test_a_flipped_verdict_of_one_parameter_is_caught():
    part = honest()
    for row in part["reported"]:
        if row["parameter"] == "ps_next":
            row["verdict"] = "fail"
    found, graded = opinion(part)
    assert found["agrees"] is False and "PS NEXT: the instrument says fail" in found["reason"]
    assert one(graded, parameter="ps_next", kind="overall")["agrees"] is False
    assert one(graded, parameter="next", kind="overall")["agrees"] is True


@pytest.mark.parametrize("better", [True, False])
def test_an_edited_curve_is_caught(better):
    part = honest()
    at = one(grade(batch(part)), parameter="next", end="remote", pairing="1-2/3-6", kind="worst_margin")
    f = part["axes"][0]["frequencies_mhz"].index(at["frequency_mhz"])
    row = find(part, "next", "remote", "1-2/3-6")
    row["values"] = [v + 4 for v in row["values"]] if better else row["values"]
    row["values"][f] -= 0 if better else 4
    found, graded = opinion(part)
    assert (found["verdict"], found["agrees"]) == ("pass", False)
    changed = one(graded, parameter="next", end="remote", pairing="1-2/3-6", kind="worst_margin")
    assert changed["agrees"] is False
    assert changed["margin"] - changed["reported_margin"] == pytest.approx(4 if better else -4, abs=0.2)
    if not better:
        assert "NEXT: worst margin" in found["reason"]


def test_an_altered_limit_is_caught_in_the_point_and_in_the_curve():
    part = honest()
    for row in part["reported"]:
        if row["parameter"] == "return_loss":
            row["limit"] -= 3
            row["margin"] += 3
    found, _ = opinion(part)
    assert found["agrees"] is False and "return loss: the instrument's limit at" in found["reason"]
    part = honest()
    f = np.array(part["axes"][0]["frequencies_mhz"])
    line = limits.get(CAT5E).lines["return_loss"].at(f)
    axis = part["axes"][0]["axis_id"]
    for shift, agrees in ((0.04, True), (-1.5, False)):
        curve = making.sweep(("return_loss", None, None), np.round(line + shift, 1), axis, origin="limit")
        found, _ = opinion({**part, "sweeps": [*part["sweeps"], curve]})
        assert found["agrees"] is agrees
        assert agrees or "return loss: the export's limit curve is" in found["reason"]


def test_a_sweep_cut_short_is_named_though_the_instrument_says_pass():
    part = honest()
    axis = making.axis_row(part["axes"][0]["frequencies_mhz"][:-8])
    for row in part["sweeps"]:
        row["values"], row["axis_id"] = row["values"][:-8], axis["axis_id"]
    part["axes"] = [axis]
    found, _ = opinion(part)
    assert found["verdict"] == "not graded"
    assert f"covers 1-{axis['frequencies_mhz'][-1]:g} of 1-100 MHz" in found["reason"]


def test_a_power_sum_of_the_wrong_pairs_is_caught():
    part = honest()
    axis = part["axes"][0]["axis_id"]

    def ps(pair, of):
        near = [find(part, "next", "local", name)["values"] for name in making.COMBINATIONS if of in name.split("/")]
        power = (10 ** (-np.array(near) / 10)).sum(axis=0)
        return making.sweep(("ps_next", "local", pair), np.round(-10 * np.log10(power), 1), axis, origin="derived")

    right = [ps(pair, pair) for pair in making.PAIRS]
    found, graded = opinion({**part, "sweeps": part["sweeps"] + right})
    assert (found["agrees"], found["reason"]) == (True, None)
    assert one(graded, parameter="ps_next", end="local", pairing="1-2", kind="worst_margin")["derived"] is True
    wrong = [ps("1-2", "7-8"), *right[1:]]
    found, graded = opinion({**part, "sweeps": part["sweeps"] + wrong})
    assert found["agrees"] is False
    assert "PS NEXT: the export's own curve differs by up to" in found["reason"]
    assert "1-2 local" in found["reason"]
    assert one(graded, parameter="ps_next", kind="overall")["agrees"] is False


def test_acr_n_that_is_no_part_of_the_limit_is_compared_too():
    part = honest(CAT5)
    axis = part["axes"][0]["axis_id"]
    near, loss = find(part, "next", "local", "1-2/3-6")["values"], find(part, "insertion_loss", None, "3-6")["values"]
    for off, agrees in ((0.0, True), (2.0, False)):
        values = np.array(near) - np.array(loss) + off
        curve = making.sweep(("acr_n", "local", "1-2/3-6"), values, axis, origin="derived")
        found, _ = opinion({**part, "sweeps": [*part["sweeps"], curve]})
        assert found["agrees"] is agrees


def test_a_derived_curve_alone_is_graded_and_said_to_be_the_exports():
    part = record(CAT5E)
    part["sweeps"] = [r for r in part["sweeps"] if r["parameter"] != "fext"]
    f = np.array(part["axes"][0]["frequencies_mhz"])
    limit, axis = limits.get(CAT5E), part["axes"][0]["axis_id"]
    for e, end in enumerate(("local", "remote")):
        for i, name in enumerate(making.ORDERED):
            values = limit.lines["acr_f"].at(f) + 6 + 0.1 * i + 0.1 * e
            part["sweeps"].append(making.sweep(("acr_f", end, name), np.round(values, 1), axis, origin="derived"))
    found, graded = opinion(part)
    assert found["verdict"] == "pass"
    assert one(graded, parameter="acr_f", end="local", pairing="1-2/3-6", kind="worst_margin")["derived"] is False
    # its power sum is recomputed from it
    assert one(graded, parameter="ps_acr_f", end="local", pairing="1-2", kind="worst_margin")["derived"] is True


def test_rounding_is_nobodys_fault():
    """house.md: 35.4 printed against a limit of 35.44 is within the resolution and never called a disagreement."""
    part = record(CAT5, reported_verdict="pass")
    f = np.array(part["axes"][0]["frequencies_mhz"])
    line = limits.get(CAT5).lines["next"].at(f)
    row = find(part, "next", "local", "1-2/3-6")
    down = np.floor(line * 10) / 10
    k = int(np.argmax(np.where((line - down) < 0.05, line - down, -1)))
    row["values"][k] = float(down[k])
    part["reported"] = [
        {"record_id": "re-1", "parameter": "next", "kind": "worst_margin", "end": "local", "pairing": "1-2/3-6"}
        | {"frequency_mhz": float(f[k]), "value": float(down[k]), "margin": 0.0, "verdict": "pass", "step": 0.1}
    ]
    found, graded = opinion(part)
    assert found["verdict"] == "fail" and -0.05 < found["margin"] < 0
    assert found["within_resolution"] is True
    assert found["agrees"] is not False
    assert "the instrument says pass, and the margin is smaller than half a step" in found["reason"]
    assert one(graded, parameter="next", kind="overall")["agrees"] is not False
    row["values"][k] = float(down[k]) - 0.3
    found, _ = opinion(part)
    assert (found["verdict"], found["within_resolution"], found["agrees"]) == ("fail", False, False)


def test_a_coarser_export_than_the_measurement_is_no_disagreement():
    """The reported worst point lies between two exported points: a better margin of ours proves nothing."""
    part = honest()
    worst = min((r for r in part["reported"] if r["parameter"] == "next"), key=lambda r: r["margin"])
    worst.update(frequency_mhz=worst["frequency_mhz"] + 0.013, margin=worst["margin"] - 1, value=worst["value"] - 1)
    found, _ = opinion(part)
    assert found["agrees"] is not False


def test_another_limit_is_not_compared_with_the_instruments_verdict():
    part = honest()
    part["records"][0]["reported_verdict"] = "fail"
    found, graded = opinion(part, against=CAT5)
    assert found["agrees"] is None
    assert all(r["agrees"] is None for r in grades(graded))


def test_old_names_of_the_far_end_meet():
    """An export that says ACR-F, tested to an edition that says ELFEXT: its report is compared with our ELFEXT."""
    part = record("tia-568-b/cat5e/channel", reported_verdict="pass")
    part["reported"] = said(grade(batch(part)))
    for row in part["reported"]:
        row["parameter"] = {"elfext": "acr_f", "ps_elfext": "ps_acr_f"}.get(row["parameter"], row["parameter"])
    found, graded = opinion(part)
    assert found["agrees"] is True
    assert one(graded, parameter="elfext", kind="overall")["reported_margin"] is not None


def test_marks_of_the_instrument_are_carried_and_labelled():
    part = honest()
    assert verdict(grade(batch(part)))["marginal"] is None
    part["records"][0]["reported_marginal"] = True
    found, _ = opinion(part)
    assert (found["marginal"], found["marginal_basis"]) == (True, "as the instrument marked it")
    assert opinion(part, against=CAT5)[0]["marginal"] is None
    part["records"][0]["reported_marginal"] = None
    part["reported"][3]["marginal"] = True
    assert opinion(part)[0]["marginal"] is True
