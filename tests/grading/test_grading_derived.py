"""Derived curves as rows, against the definitions in plain numpy.

Power sum, ACR-N and ACR-F as TIA-568 and ISO/IEC 11801 define them; the disturbed pair's loss: S32 in sources.toml.
"""

import numpy as np
import pyarrow.compute as pc
import pytest

from archive import grading, limits, vocabulary
from archive.demo.simulator import simulate
from archive.grading import grade
from archive.tables import Batch, axis_row
from tests.grading import making
from tests.grading.making import CLASS_EA, batch, grades, one, verdict


def by_key(links, origin):
    """Curves of one origin as arrays."""
    rows = links["sweeps"].filter(pc.equal(links["sweeps"]["origin"], origin)).to_pylist()
    return {(r["record_id"], r["parameter"], r["end"], r["pairing"]): np.array(r["values"], float) for r in rows}


def test_every_derived_curve_is_what_its_definition_says():
    (links,) = simulate(3, seed=11)
    given, found = by_key(links, "measured"), by_key(grading.derived(links), "derived")
    assert {p for _, p, _, _ in found} >= {"ps_next", "acr_n", "ps_acr_n", "acr_f", "ps_acr_f"}
    loss = {(r, pair): y for (r, p, _, pair), y in given.items() if p == "insertion_loss"}
    for (record, parameter, end, pairing), ours in found.items():
        disturbed = pairing.split("/")[-1]
        others = [p for p in vocabulary.PAIRS if p != disturbed]
        if parameter == "ps_next":
            parts = [given[record, "next", end, "/".join(sorted((o, disturbed)))] for o in others]
            wanted = -10 * np.log10(sum(10 ** (-part / 10) for part in parts))
        elif parameter == "acr_n":
            wanted = given[record, "next", end, "/".join(sorted(pairing.split("/")))] - loss[record, disturbed]
        elif parameter == "acr_f":
            wanted = given[record, "fext", end, pairing] - loss[record, disturbed]
        else:
            continue
        np.testing.assert_allclose(ours, wanted, atol=1e-8)


def test_rows_of_one_record_stay_together_and_measured_ones_stay_as_they_were():
    (links,) = simulate(3, seed=12)
    made = grading.derived(links, ("ps_next",))
    records = made["sweeps"]["record_id"].to_pylist()
    assert records == sorted(records, key=links["records"]["record_id"].to_pylist().index)
    kept = made["sweeps"].filter(pc.equal(made["sweeps"]["origin"], "measured"))
    assert kept.equals(links["sweeps"].filter(pc.equal(links["sweeps"]["origin"], "measured")).combine_chunks()) or (
        kept.to_pylist() == links["sweeps"].to_pylist()
    )
    assert made["sweeps"].num_rows == links["sweeps"].num_rows + 3 * 8


def test_a_missing_point_stays_missing():
    (links,) = simulate(1, seed=13)
    rows = links["sweeps"].to_pylist()
    row = next(r for r in rows if r["parameter"] == "next" and r["pairing"] == "1-2/3-6" and r["end"] == "local")
    row["values"][5] = None
    holed = links.replace(sweeps=Batch.from_rows({"sweeps": rows})["sweeps"])
    sums = by_key(grading.derived(holed, ("ps_next",)), "derived")
    of = {pairing: y for (_, _, end, pairing), y in sums.items() if end == "local"}
    assert np.isnan(of["1-2"][5]) and np.isnan(of["3-6"][5]) and np.isfinite(of["4-5"]).all()


def test_without_parts_nothing_is_added():
    (links,) = simulate(1, seed=14)
    only = links["sweeps"].filter(pc.equal(links["sweeps"]["parameter"], "return_loss"))
    bare = links.replace(sweeps=only)
    assert grading.derived(bare).equals(bare)


@pytest.mark.parametrize("limit", ["iso-11801-1/class-d/channel", CLASS_EA])
def test_what_is_made_of_curves_on_two_axes_is_made_at_the_points_that_they_share(limit):
    """Crosstalk in the steps of field tests, insertion loss in steps of 1 MHz: every curve is there."""
    part = making.record(limit)
    top = part["axes"][0]["frequencies_mhz"][-1]
    f = np.arange(1.0, top + 1)
    axis = axis_row(f)
    part["axes"].append(axis)
    loss = np.maximum(limits.get(limit).lines["insertion_loss"].at(f) - 5, 0.3).round(1)
    for row in part["sweeps"]:
        if row["parameter"] == "insertion_loss":
            row.update(axis_id=axis["axis_id"], values=loss.tolist())
    graded = grade(batch(part))
    found = {row["parameter"]: row for row in grades(graded, kind="overall")}
    for parameter in ("acr_n", "ps_acr_n", "acr_f", "ps_acr_f"):
        assert (found[parameter]["verdict"], found[parameter]["provisional"]) == ("pass", True), parameter
        assert found[parameter]["reason"] == "largest gap 1-4 MHz between the points that its parts share"
    assert found["ps_next"]["verdict"] == "pass" and not found["ps_next"]["reason"]
    assert verdict(graded)["verdict"] == "pass"
    row = one(graded, parameter="ps_acr_n", kind="worst_margin", end="local", pairing="3-6")
    names = [n for n in making.COMBINATIONS if "3-6" in n.split("/")]
    own = np.array(part["axes"][0]["frequencies_mhz"])
    at = int(np.flatnonzero(own == row["frequency_mhz"])[0])
    parts = [making.find(part, "next", "local", n)["values"][at] for n in names]
    wanted = -10 * np.log10(sum(10 ** (-p / 10) for p in parts)) - loss[int(row["frequency_mhz"]) - 1]
    assert row["value"] == pytest.approx(wanted, abs=1e-8) and row["frequency_mhz"] in f
