"""Alien crosstalk: power sums over any number of disturbers, averages over the pairs."""

import numpy as np
import pytest

from archive import limits
from archive.grading import grade
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
