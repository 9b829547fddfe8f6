"""Derived curves as rows, against the definitions in plain numpy.

Power sum, ACR-N and ACR-F as TIA-568 and ISO/IEC 11801 define them; the disturbed pair's loss: S32 in sources.toml.
"""

import numpy as np
import pyarrow.compute as pc

from archive import grading, vocabulary
from archive.demo.simulator import simulate
from archive.tables import Batch


def by_key(batch, origin):
    """Curves of one origin as arrays."""
    rows = batch["sweeps"].filter(pc.equal(batch["sweeps"]["origin"], origin)).to_pylist()
    return {(r["record_id"], r["parameter"], r["end"], r["pairing"]): np.array(r["values"], float) for r in rows}


def test_every_derived_curve_is_what_its_definition_says():
    (batch,) = simulate(3, seed=11)
    given, found = by_key(batch, "measured"), by_key(grading.derived(batch), "derived")
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
    (batch,) = simulate(3, seed=12)
    made = grading.derived(batch, ("ps_next",))
    records = made["sweeps"]["record_id"].to_pylist()
    assert records == sorted(records, key=batch["records"]["record_id"].to_pylist().index)
    kept = made["sweeps"].filter(pc.equal(made["sweeps"]["origin"], "measured"))
    assert kept.equals(batch["sweeps"].filter(pc.equal(batch["sweeps"]["origin"], "measured")).combine_chunks()) or (
        kept.to_pylist() == batch["sweeps"].to_pylist()
    )
    assert made["sweeps"].num_rows == batch["sweeps"].num_rows + 3 * 8


def test_a_missing_point_stays_missing():
    (batch,) = simulate(1, seed=13)
    rows = batch["sweeps"].to_pylist()
    row = next(r for r in rows if r["parameter"] == "next" and r["pairing"] == "1-2/3-6" and r["end"] == "local")
    row["values"][5] = None
    holed = batch.replace(sweeps=Batch.from_rows({"sweeps": rows})["sweeps"])
    sums = by_key(grading.derived(holed, ("ps_next",)), "derived")
    of = {pairing: y for (_, _, end, pairing), y in sums.items() if end == "local"}
    assert np.isnan(of["1-2"][5]) and np.isnan(of["3-6"][5]) and np.isfinite(of["4-5"]).all()


def test_without_parts_nothing_is_added():
    (batch,) = simulate(1, seed=14)
    only = batch["sweeps"].filter(pc.equal(batch["sweeps"]["parameter"], "return_loss"))
    bare = batch.replace(sweeps=only)
    assert grading.derived(bare).equals(bare)
