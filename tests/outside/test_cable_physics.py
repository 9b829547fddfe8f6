"""Gauge and resistance against published figures and open measurements; the line of solid cable."""

from __future__ import annotations

import numpy as np
import pytest

from archive.validation import catalogue
from archive.validation.look.cable_physics import Copper, line_db_per_m, velocity

COPPER = Copper.of(catalogue.rule("loop-resistance-contradicts-length").tolerances)

TABLE = {22: (0.6438, 10.59), 23: (0.5733, 13.36), 24: (0.5106, 16.84), 25: (0.4547, 21.24), 26: (0.4049, 26.78)}
"""Diameter in mm and loop of 100 m in ohm at 20 degC by gauge, handbook of copper wire (S79, S80)."""

MEASURED = {
    34: {0.35: 1.124, 0.8: 1.577, 1.0: 1.744, 1.6: 2.275, 2.0: 2.625},
    36: {0.35: 1.282, 0.8: 2.006, 1.0: 2.296, 1.4: 2.865, 1.6: 3.154, 1.8: 3.430, 2.0: 3.700},
}
"""Resistance of one conductor in ohm by gauge and length in m: medians over conductors and cables of open measurements
of twisted pairs (KU-CMS e-link cables, CC0-1.0), contacts included."""


@pytest.mark.parametrize("gauge", TABLE)
def test_handbook_of_copper_wire(gauge: int) -> None:
    diameter, loop = TABLE[gauge]
    assert float(COPPER.diameter_mm(np.array(float(gauge)))) == pytest.approx(diameter, rel=1e-4)
    at = np.array(float(gauge)), np.array(100.0), np.array(20.0)
    assert float(COPPER.loop_ohm(*at)) == pytest.approx(loop, rel=1e-3)
    assert float(COPPER.gauge(np.array(loop), *at[1:])) == pytest.approx(gauge, abs=0.01)


def test_one_gauge_more_is_a_quarter_more_resistance() -> None:
    assert float(COPPER.gauges_of(np.array(0.261))) == pytest.approx(1.0, abs=0.01)


def test_copper_at_another_temperature() -> None:
    """26.17 ohm per 1000 ft of AWG 24 at 25 degC (another table of the handbook)."""
    loop = float(COPPER.loop_ohm(np.array(24.0), np.array(304.8), np.array(25.0)))
    assert loop / 2 == pytest.approx(26.17, rel=1e-3)


@pytest.mark.parametrize("gauge", MEASURED)
def test_measured_cables_have_their_gauge(gauge: int) -> None:
    """The slope over length is free of contacts; thin wires resist some per cent more than their nominal gauge."""
    metres, ohm = (np.array(list(x)) for x in (MEASURED[gauge].keys(), MEASURED[gauge].values()))
    slope = float(np.polyfit(metres, ohm, 1)[0])
    found = float(COPPER.gauge(np.array(2 * slope), np.array(1.0), np.array(20.0)))
    assert found == pytest.approx(gauge, abs=0.45)


def test_velocity_is_length_by_delay() -> None:
    """500 ns at 0.69 of light are 103.4 m."""
    assert float(velocity(np.array(500.0), np.array(103.43))) == pytest.approx(0.69, abs=1e-4)
    assert np.isnan(velocity(np.array(0.0), np.array(10.0)))


@pytest.mark.parametrize(
    ("limit", "db"),
    [("tia-568.2-d/cat5e/cable", 22.0), ("tia-568.2-d/cat6/cable", 19.8), ("tia-568.2-d/cat6a/cable", 19.1)],
)
def test_lines_of_solid_cable(limit: str, db: float) -> None:
    assert 100 * line_db_per_m(limit) == pytest.approx(db, abs=0.05)
    assert limit in catalogue.rule("gauge-not-as-stated").tolerances["lines"].values()
