"""What the figures of a copper link say of its cable: velocity, gauge, and loss against the line of a category.

Gauges are American wire gauges as real numbers: 23.4 lies between 23 and 24. Lengths in m, resistances in ohm of the
loop of a pair, losses in dB, temperatures in degC.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from typing import Any

import numpy as np

from archive import limits
from archive.tables.arrow import Reals

LIGHT_M_PER_NS = 0.299792458
"""Speed of light (definition of the metre)."""


@dataclass(frozen=True)
class Copper:
    """Constants of round copper wire, as a rule declares them: d = smallest * base ^ ((first - gauge) / span) in mm,
    resistivity in ohm mm2/m at 20 degC and its change per degC (IEC 60028)."""

    gauge_mm: tuple[float, float, float, float]
    ohm_mm2_m: float
    per_degc: float

    @classmethod
    def of(cls, tolerances: Mapping[str, Any]) -> Copper:
        """The constants that stand among the tolerances of a rule."""
        return cls(tuple(tolerances["gauge_mm"]), tolerances["ohm_mm2_m"], tolerances["per_degc"])

    def diameter_mm(self, gauge: Reals) -> Reals:
        """Diameter of a solid conductor in mm."""
        smallest, base, first, span = self.gauge_mm
        return np.asarray(smallest * base ** ((first - gauge) / span), dtype=np.float64)

    def loop_ohm(self, gauge: Reals, length_m: Reals, degc: Reals) -> Reals:
        """Loop resistance of a pair: two conductors of this gauge and length."""
        area = np.pi / 4 * self.diameter_mm(gauge) ** 2
        warm = 1 + self.per_degc * (degc - 20.0)
        return np.asarray(2 * length_m * self.ohm_mm2_m * warm / area, dtype=np.float64)

    def gauge(self, loop_ohm: Reals, length_m: Reals, degc: Reals) -> Reals:
        """The gauge that copper of this loop resistance and length has; NaN where either is not above zero."""
        smallest, base, first, span = self.gauge_mm
        warm = 1 + self.per_degc * (degc - 20.0)
        with np.errstate(divide="ignore", invalid="ignore"):
            area = 2 * np.where(length_m > 0, length_m, np.nan) * self.ohm_mm2_m * warm / loop_ohm
            diameter = np.sqrt(np.where(area > 0, area, np.nan) * 4 / np.pi)
            return np.asarray(first - span * np.log(diameter / smallest) / np.log(base), dtype=np.float64)

    def gauges_of(self, share: Reals) -> Reals:
        """By how many gauges a share of the resistance moves the gauge: 0.26 is about one."""
        _, base, _, span = self.gauge_mm
        return np.asarray(span * np.log1p(share) / (2 * np.log(base)), dtype=np.float64)


def velocity(delay_ns: Reals, length_m: Reals) -> Reals:
    """Velocity as a share of that of light; NaN where there is no delay."""
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.asarray(length_m / np.where(delay_ns > 0, delay_ns, np.nan) / LIGHT_M_PER_NS, dtype=np.float64)


def warm_factor(degc: Reals, per_degc: Reals) -> Reals:
    """Insertion loss at a temperature against that at 20 degC."""
    return np.asarray(1 + per_degc * (degc - 20.0), dtype=np.float64)


@cache
def line_db_per_m(limit_id: str, mhz: float = 100.0) -> float:
    """Most loss that a metre of cable may have by a cable line of the limit library; NaN where it has none there."""
    line = limits.get(limit_id).lines.get("insertion_loss")
    return float("nan") if line is None else float(line.at(np.array([mhz]))[0]) / 100.0


@cache
def published_unbalance(limit_id: str) -> tuple[float, float]:
    """Most that the conductors of a pair may differ by a limit of the library: % of the loop, and ohm; the greater."""
    bound = limits.get(limit_id).scalars["resistance_unbalance"]
    return bound.value, 0.0 if bound.greater_of is None else bound.greater_of.value
