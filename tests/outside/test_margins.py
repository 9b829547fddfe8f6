"""Margins against published limit values: measured 1.5 dB better than the printed number is a margin of 1.5 dB."""

import numpy as np
import pytest

from archive.grading import grade
from tests.grading import making

# S22 prints these for category 5e and 6 channels (TIA/EIA-568-B.2 and B.2-1) at 100 MHz.
PRINTED = {
    "tia-568-b/cat5e/channel": {
        "insertion_loss": 24.0,
        "return_loss": 10.0,
        "next": 30.1,
        "ps_next": 27.1,
        "elfext": 17.4,
        "ps_elfext": 14.4,
    },
    "tia-568-b/cat6/channel": {"return_loss": 12.0, "next": 39.9, "ps_next": 37.1, "elfext": 23.3, "ps_elfext": 20.3},
}
# S1 prints these for the category 5 channel of TSB-67 at 62.5 MHz.
PRINTED_62 = {"tsb-67/cat5/channel": {"insertion_loss": 18.5, "next": 30.6}}


@pytest.mark.parametrize(("at", "printed"), [(100.0, PRINTED), (62.5, PRINTED_62)])
@pytest.mark.parametrize("better", [1.5, 0.0, -1.3])
def test_so_much_better_than_print_is_so_much_margin(at, printed, better):
    for limit, values in printed.items():
        top = making.limits.get(limit).range_mhz[1]
        f = np.unique(np.append(making.grid(1, top), at))
        place = int(np.flatnonzero(f == at)[0])
        for parameter, value in values.items():
            part = making.record(limit, margin=12, f=f)
            sign = 1 if parameter == "insertion_loss" else -1
            rows = [r for r in part["sweeps"] if r["parameter"] == parameter]
            if parameter.startswith("ps_") or not rows:
                # Given as the export's own curve: here the number is what is tested, not how it is derived.
                part["sweeps"] = [r for r in part["sweeps"] if r["parameter"] not in ("fext", "next")]
                names = making.ORDERED if parameter == "elfext" else making.PAIRS
                axis = part["axes"][0]["axis_id"]
                rows = [
                    making.sweep((parameter, end, n), [90.0] * len(f), axis)
                    for end in ("local", "remote")
                    for n in names
                ]
                part["sweeps"] += rows
            rows[0]["values"][place] = value - sign * better
            graded = grade(making.batch(part), limit)
            kind = "worst_margin"
            row = making.one(graded, parameter=parameter, kind=kind, end=rows[0]["end"], pairing=rows[0]["pairing"])
            assert row["frequency_mhz"] == at, (limit, parameter)
            assert row["margin"] == pytest.approx(better, abs=0.051), (limit, parameter)  # printed to 0.1 dB
            if abs(better) > 0.1:
                assert row["verdict"] == ("fail" if better < 0 else "pass")
