"""Rules about copper against handbooks, definitions and real measurements that nobody here made.

Source ids are those of schemas/sources.toml.
"""

from __future__ import annotations

import csv
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from archive.tables import Batch, axis_row
from archive.validation import catalogue
from archive.validation.check import run
from archive.validation.look import RecordLook
from archive.validation.look import loss_fit as loss
from archive.validation.rules.copper import M_PER_NS
from archive.validation.rules.sums import _power_sum
from archive.vocabulary import PAIRS

DATA = Path(__file__).resolve().parents[2].parent / "shared" / "data" / "twisted-pair-cables"

# HyperPhysics, common wire gauges (S80): ohm per 1000 ft at 20 degC.
HANDBOOK = {22: 16.14, 23: 20.36, 24: 25.67, 25: 32.37, 26: 40.81}
FT_1000_M = 304.8  # definition of the foot


def _ohm_per_m(gauge: float) -> float:
    """Resistance as the rule computes it, from the numbers in its catalogue entry."""
    t = catalogue.rule("loop-resistance-contradicts-length").tolerances
    smallest, base, first, span = t["gauge_mm"]
    diameter = smallest * base ** ((first - gauge) / span)
    return float(t["ohm_mm2_m"] / (np.pi / 4 * diameter**2))


@pytest.mark.parametrize(("gauge", "ohm"), HANDBOOK.items())
def test_resistance_of_gauges(gauge: int, ohm: float) -> None:
    """The rule's copper is the handbook's, to 0.1 %."""
    assert _ohm_per_m(gauge) * FT_1000_M == pytest.approx(ohm, rel=1e-3)


def _record(gauge: int, loop: float, length: float = 80.0, degc: float = 20.0) -> Batch:
    common = {"record_id": "r1", "origin": "measured"}
    readings = [{**common, "quantity": "length", "subject": p, "value": length} for p in PAIRS]
    readings += [{**common, "quantity": "loop_resistance", "subject": p, "value": loop} for p in PAIRS]
    readings.append({**common, "quantity": "temperature", "end": "local", "value": degc})
    record = {"record_id": "r1", "medium": "copper", "evidence": "verdict-only", "cable_type": f"cat6/u-utp/awg{gauge}"}
    return Batch.from_rows({"records": [record], "readings": readings})


def _raised(batch: Batch) -> set[str]:
    return {f["rule"] for f in run(batch).findings.to_pylist() if f["status"] == "raised"}


RESISTANCE = {"loop-resistance-contradicts-length", "resistance-too-high-for-copper"}


@pytest.mark.parametrize(("gauge", "ohm"), HANDBOOK.items())
def test_handbook_loops_are_accepted_and_wrong_ones_are_not(gauge: int, ohm: float) -> None:
    """80 m of handbook copper, warm or cold, passes; half of it and clad aluminium do not."""
    loop = 2 * 80 / FT_1000_M * ohm
    assert not _raised(_record(gauge, loop)) & RESISTANCE
    assert not _raised(_record(gauge, loop * (1 + 0.00393 * 25), degc=45.0)) & RESISTANCE
    assert _raised(_record(gauge, loop * 0.5)) & RESISTANCE == {"loop-resistance-contradicts-length"}
    assert _raised(_record(gauge, loop * 1.6)) & RESISTANCE == RESISTANCE


@pytest.mark.skipif(not DATA.is_dir(), reason="the shared measurements are not here")
@pytest.mark.parametrize("gauge", [34, 36])
def test_conductors_that_were_really_measured(gauge: int) -> None:
    """Four-point DC resistance of 62 real cables: the growth with length lies within what the rule accepts.

    The fixture's own resistance is the same at every length and falls out of the slope.
    """
    by_length: dict[float, list[float]] = {}
    with (DATA / "dc_resistance_and_impedance.csv").open(encoding="utf-8") as file:
        for row in csv.DictReader(file):
            for name, cell in row.items():
                if name.startswith("R_") and row["awg"] == str(gauge) and row["type"]:
                    try:
                        value = float(cell)
                    except ValueError:
                        continue  # the table has words in some cells
                    by_length.setdefault(float(row["length_m"]), []).append(value)
    lengths = np.array(sorted(by_length))
    typical = np.array([np.median(by_length[x]) for x in lengths])
    slope = np.polyfit(lengths, typical, 1)[0]
    low, high = catalogue.rule("loop-resistance-contradicts-length").tolerances["share"]
    assert low < slope / _ohm_per_m(gauge) < high


def test_length_from_delay() -> None:
    """500 ns at NVP 0.69 is 103.4 m, by the definition of the metre (c = 299 792 458 m/s)."""
    metres = 500 * 0.69 * M_PER_NS
    assert metres == pytest.approx(103.4, abs=0.05)
    assert M_PER_NS == 299_792_458 / 1e9


@pytest.mark.parametrize("percent", [60.0, 64.0, 65.0, 69.0, 70.0, 73.0])
def test_velocities_of_insulations(percent: float) -> None:
    """PVC 60-64 %, FRPE 65-70 %, FEP 69-73 % (S60): none of them is called implausible."""
    batch = Batch.from_rows(
        {"records": [{"record_id": "r1", "medium": "copper", "evidence": "verdict-only", "velocity_percent": percent}]}
    )
    assert "velocity-implausible" not in _raised(batch)


# Printed attenuation of category 5e cable per 100 m (S4; 62.5 MHz printed as 17.0 in its own column).
CAT5E = {1: 2.0, 4: 4.1, 8: 5.8, 10: 6.5, 16: 8.2, 20: 9.3, 25: 10.4, 31.25: 11.7, 62.5: 17.0, 100: 22.0}
# Category 3 cable per 100 m (S1, S4, S17).
CAT3 = {1: 2.6, 4: 5.6, 8: 8.5, 10: 9.7, 16: 13.1}


@pytest.mark.parametrize("table", [CAT5E, CAT3])
def test_published_attenuation_has_the_shape_that_the_rule_asks_for(table: dict[float, float]) -> None:
    """a sqrt(f) + b f + c / sqrt(f) fits the printed tables to their last digit: the law that the rule rests on."""
    mhz, printed = np.array(list(table)), np.array(list(table.values()))
    shape = loss.basis(mhz)
    rest = printed - shape @ np.linalg.lstsq(shape, printed, rcond=None)[0]
    assert np.abs(rest).max() < 0.06


def _curve(mhz: Any, values: Any) -> Batch:
    axis = axis_row(list(mhz))
    sweep = {"record_id": "r1", "parameter": "insertion_loss", "pairing": "1-2", "origin": "measured"}
    return Batch.from_rows(
        {
            "axes": [axis],
            "records": [{"record_id": "r1", "medium": "copper", "evidence": "full-sweep"}],
            "sweeps": [{**sweep, "axis_id": axis["axis_id"], "values": list(values)}],
        }
    )


def test_the_square_root_law() -> None:
    """A pure skin effect, sqrt(f), is fitted exactly and raises nothing; f squared is no cable."""
    mhz = np.linspace(1, 500, 400)
    law = RecordLook(_curve(mhz, 1.2 * np.sqrt(mhz)), "2026-11-25").loss_fit
    assert law.rms[0] == pytest.approx(0, abs=1e-6)
    assert law.at_mhz(100.0)[0] == pytest.approx(12.0, abs=1e-6)
    shape = {"insertion-loss-falls", "insertion-loss-jumps", "insertion-loss-not-of-cable"}
    assert not _raised(_curve(mhz, 1.2 * np.sqrt(mhz))) & shape
    assert "insertion-loss-not-of-cable" in _raised(_curve(mhz, 60 * (mhz / 500) ** 3))


def test_power_sum_of_a_worked_example() -> None:
    """40, 45 and 50 dB give 38.489 dB; three equal values lie 4.771 dB below one (mathematics)."""
    parts = [np.array([[v]]) for v in (40.0, 45.0, 50.0)]
    assert _power_sum(parts)[0, 0] == pytest.approx(38.489, abs=5e-4)
    assert _power_sum([np.array([[30.0]])] * 3)[0, 0] == pytest.approx(30 - 4.771, abs=5e-4)
