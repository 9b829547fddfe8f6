"""Alien crosstalk: power sums over any number of disturbers, averages over the pairs."""

import numpy as np
import pytest

from archive import limits
from archive.grading import grade
from archive.tables import axis_row
from tests.grading import making
from tests.grading.making import batch, grades, one, record, verdict

CHANNEL = "tia-568.2-d/cat6a/channel"


def with_aliens(disturbers, level=60.0, parameter="anext", spread=0.0):
    """A record with single disturbers: every pair of every disturbing link into every pair, at both ends."""
    part = record(CHANNEL)
    f = np.array(part["axes"][0]["frequencies_mhz"])
    for label in range(disturbers):
        for end in ("local", "remote"):
            for i in making.PAIRS:
                for k, j in enumerate(making.PAIRS):
                    values = limits.get(CHANNEL).lines["ps_anext"].at(f) + level + spread * k
                    row = making.sweep((parameter, end, f"{i}/{j}"), np.round(values, 1), part["axes"][0]["axis_id"])
                    part["sweeps"].append({**row, "disturber": f"1A-{label:02}"})
    return part


@pytest.mark.parametrize("disturbers", [1, 3, 6])
def test_power_sums_run_over_every_pair_of_every_disturbing_link(disturbers):
    """n equal contributors cost 10 lg n dB: 4 pairs of each disturbing link (S28 names the alien quantities)."""
    graded = grade(batch(with_aliens(disturbers, level=20)))
    assert verdict(graded)["verdict"] == "pass"
    rows = grades(graded, parameter="ps_anext", kind="worst_margin")
    assert {(r["end"], r["pairing"]) for r in rows} == {(e, p) for e in ("local", "remote") for p in making.PAIRS}
    for row in rows:
        assert row["derived"]
        assert row["margin"] == pytest.approx(20 - 10 * np.log10(4 * disturbers), abs=0.06)


def test_the_average_is_the_mean_of_the_four_pairs_in_decibels():
    """Mean of dB values, as the reference has it (section 4, C)."""
    part = with_aliens(2, level=20, spread=3.0)
    graded = grade(batch(part))
    by_pair = [r["value"] for r in grades(graded, parameter="ps_anext", kind="worst_value", end="local")]
    average = one(graded, parameter="ps_anext_average", kind="worst_value", end="local")
    assert average["pairing"] is None
    assert average["value"] == pytest.approx(np.mean(by_pair), abs=1e-8)


def test_far_end_takes_the_loss_of_the_disturbed_pair_away():
    part = with_aliens(2, level=40, parameter="afext")
    graded = grade(batch(part))
    f = np.array(part["axes"][0]["frequencies_mhz"])
    loss = np.array(making.find(part, "insertion_loss", None, "3-6")["values"])
    single = np.array(making.find(part, "afext", "local", "1-2/3-6")["values"])
    margin = single - 10 * np.log10(8) - loss - limits.get(CHANNEL).lines["ps_aacr_f"].at(f)
    row = one(graded, parameter="ps_aacr_f", kind="worst_margin", end="local", pairing="3-6")
    assert row["margin"] == pytest.approx(margin.min(), abs=1e-6)
    assert row["frequency_mhz"] == f[margin.argmin()]


def test_a_power_sum_of_the_export_is_compared():
    part = with_aliens(2, level=20)
    f = np.array(part["axes"][0]["frequencies_mhz"])
    right = limits.get(CHANNEL).lines["ps_anext"].at(f) + 20 - 10 * np.log10(8)
    for off, agrees in ((0.0, None), (3.0, False)):
        rows = [
            making.sweep(
                ("ps_anext", "local", p), np.round(right + off, 1), part["axes"][0]["axis_id"], origin="derived"
            )
            for p in making.PAIRS
        ]
        found = verdict(grade(batch({**part, "sweeps": part["sweeps"] + rows})))
        assert found["agrees"] is agrees
        assert agrees is None or "PS ANEXT: the export's own curve differs" in found["reason"]


def test_alien_crosstalk_that_misses_fails_and_its_absence_does_not_matter():
    assert verdict(grade(batch(record(CHANNEL))))["verdict"] == "pass"
    found = verdict(grade(batch(with_aliens(6, level=5))))
    assert (found["verdict"], found["parameter"]) == ("fail", "ps_anext_average")  # the harder line


def test_a_missing_point_of_one_disturber_leaves_the_sum_open():
    part = with_aliens(1, level=20)
    row = part["sweeps"][-1]
    row["values"][4] = None
    graded = grade(batch(part))
    _, disturbed = row["pairing"].split("/")
    rows = {(r["end"], r["pairing"]): r for r in grades(graded, parameter="ps_anext", kind="worst_margin")}
    assert rows["remote", disturbed]["verdict"] == "not graded"
    assert rows["local", disturbed]["verdict"] == "pass"


def on_axis(part, step):
    """The sweep of a record moved to an axis of its own, in even steps of MHz."""
    f = np.round(np.arange(1.0, 500 + step / 2, step), 3)
    axis = axis_row(f)
    if axis["axis_id"] not in {a["axis_id"] for a in part["axes"]}:
        part["axes"].append(axis)
    return axis["axis_id"], f


def single(part, label, step, above, end="local", pair="3-6"):
    """One disturbing pair of one link, some dB above the limit of the power sum, on an axis of its own."""
    axis, f = on_axis(part, step)
    values = limits.get(CHANNEL).lines["ps_anext"].at(f) + above
    row = making.sweep(("anext", end, f"1-2/{pair}"), np.round(values, 2), axis)
    part["sweeps"].append({**row, "disturber": label})


def test_single_near_and_far_end_disturbers_in_one_record_cost_nothing():
    """Real alien tests have both: power sums of the one must not lengthen the arrays of the other."""
    part = with_aliens(2, level=40)
    far = with_aliens(2, level=40, parameter="afext")
    part["sweeps"] += [row for row in far["sweeps"] if row["parameter"] == "afext"]
    aacr = with_aliens(1, level=40, parameter="aacr_f")
    part["sweeps"] += [row for row in aacr["sweeps"] if row["parameter"] == "aacr_f"]
    found = {row["parameter"]: row["verdict"] for row in grades(grade(batch(part)), kind="overall")}
    assert found["ps_anext"] == found["ps_aacr_f"] == "pass"
    alone = {r["parameter"]: r["margin"] for r in grades(grade(batch(with_aliens(2, level=40))), kind="overall")}
    both = {r["parameter"]: r["margin"] for r in grades(grade(batch(part)), kind="overall")}
    assert both["ps_anext"] == alone["ps_anext"]


def test_disturbers_on_different_axes_are_summed_at_the_points_that_they_share():
    """Six links of four pairs, each 5 dB above the power sum's limit, fail by 10 lg 24 - 5 = 8.8 dB, whatever axis the
    sixth has."""
    part = record(CHANNEL)
    for label in range(6):
        for k in range(4):
            single(part, f"{label}-{k}", 0.5 if label == 5 else 1.0, 5.0)
    found = verdict(grade(batch(part)))
    assert (found["verdict"], found["parameter"], found["pairing"]) == ("fail", "ps_anext", "3-6")
    assert found["margin"] == pytest.approx(5 - 10 * np.log10(24), abs=0.05)


@pytest.mark.parametrize(("above", "expected"), [(1.0, "fail"), (20.0, "pass")])
def test_two_disturbers_on_two_axes_are_a_sum(above, expected):
    """Each alone 1 dB above the limit: together 2 dB below it."""
    part = record(CHANNEL)
    single(part, "a", 1.0, above)
    single(part, "b", 0.5, above)
    row = one(grade(batch(part)), parameter="ps_anext", kind="overall")
    shared = grades(grade(batch(part)), parameter="ps_anext", kind="worst_margin")
    assert shared and shared[0]["verdict"] == expected
    assert row["margin"] == pytest.approx(above - 10 * np.log10(2), abs=0.02)


def test_disturbers_that_share_no_point_are_not_summed_and_that_is_said():
    part = record(CHANNEL)
    single(part, "a", 1.0, 20.0)
    single(part, "b", 1.0, 20.0)
    axis = axis_row(np.arange(1.5, 500, 1.0))
    part["axes"].append(axis)
    part["sweeps"][-1] |= {"axis_id": axis["axis_id"], "values": part["sweeps"][-1]["values"][:499]}
    found = verdict(grade(batch(part)))
    assert found["verdict"] == "pass", "alien crosstalk is graded where it was measured"
    assert "PS ANEXT, average PS ANEXT: cannot be summed: disturbers on different frequencies" in found["reason"]
    row = one(grade(batch(part)), parameter="ps_anext", kind="overall")
    assert row["verdict"] == "not graded"


def test_one_disturber_below_the_limit_of_the_sum_fails_whatever_the_others_are():
    part = record(CHANNEL)
    single(part, "a", 1.0, 20.0)
    single(part, "b", 1.0, 20.0)
    axis = axis_row(np.arange(1.5, 500, 1.0))
    part["axes"].append(axis)
    values = np.array(part["sweeps"][-1]["values"][:499])
    values[300] -= 22
    part["sweeps"][-1] |= {"axis_id": axis["axis_id"], "values": values.tolist()}
    found = verdict(grade(batch(part)))
    assert (found["verdict"], found["parameter"], found["frequency_mhz"]) == ("fail", "ps_anext", 301.5)
    assert (
        "sum of some of the disturbers" in one(grade(batch(part)), parameter="ps_anext", kind="worst_margin")["reason"]
    )


def test_a_sum_of_some_disturbers_never_passes():
    """A point that one disturber has not proves nothing but a fail."""
    part = with_aliens(1, level=20)
    row = part["sweeps"][-1]
    row["values"][4] = None
    other = next(r for r in part["sweeps"] if r["parameter"] == "anext" and r["end"] == "remote" and r is not row)
    assert other["pairing"].split("/")[1] != row["pairing"].split("/")[1] or other is not row
    same = [r for r in part["sweeps"] if r["parameter"] == "anext" and r["end"] == "remote"]
    same = [r for r in same if r["pairing"].endswith(row["pairing"].split("/")[1]) and r is not row]
    same[0]["values"][4] -= 30
    found = verdict(grade(batch(part)))
    assert (found["verdict"], found["parameter"]) == ("fail", "ps_anext")
