"""Scalar readings of simulated links: length, delay, skew, resistance, unbalance, temperature."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from archive.demo import cables, draws
from archive.demo.curves import Links, delay_ns
from archive.vocabulary import COMBINATIONS, PAIRS


@dataclass(frozen=True)
class Kind:
    """One row that every record has: quantity, subject (None for the whole link), end, step of its numbers, and the
    frequency in MHz at which it holds."""

    quantity: str
    subject: str | None
    end: str | None
    step: float
    frequency_mhz: float | None = None


KINDS: tuple[Kind, ...] = (
    *(Kind("length", p, None, 0.1) for p in PAIRS),
    *(Kind("propagation_delay", p, None, 1.0, 10.0) for p in PAIRS),
    *(Kind("delay_skew", p, None, 1.0) for p in PAIRS),
    *(Kind("loop_resistance", p, None, 0.1) for p in PAIRS),
    *(Kind("resistance_unbalance", p, None, 0.01) for p in PAIRS),
    *(Kind("resistance_unbalance_between_pairs", c, None, 0.01) for c in COMBINATIONS),
    Kind("temperature", None, "local", 0.5),
)
"""Rows of readings of one record, in this order."""


def round_to(values: Any, step: float) -> Any:
    """float64 nearest to whole steps, as the decimal number reads (35.4, not 35.400000000000006)."""
    whole = round(1 / step)
    out = np.multiply(values, whole, dtype=np.float64)
    np.rint(out, out=out)
    out /= whole
    return out


def velocity_percent(links: Links) -> Any:
    """Nominal velocity that was set, in % of light, to half a per cent, (n,): one for the cable of a bundle."""
    light = cables.facts()["constants"]["light_m_per_ns"]
    per_m = links.velocity * float(cables.delay_100m(10.0)) / 100
    return round_to(100 / (light * per_m), 0.5)


def readings(links: Links, gauge: int, degc: Any) -> Any:
    """Values, float64 (n, len(KINDS)), rounded to their steps."""
    seed, n = links.seed, len(links.link)
    c = cables.facts()
    noise = draws.normal(seed, "scalar noise", links.test, 30)
    delay = delay_ns(links, np.array([10.0]))[:, :, 0] + 0.2 * noise[:, :4]
    shown = round_to(delay, 1.0)
    velocity = velocity_percent(links) / 100
    length = delay * velocity[:, None] * c["constants"]["light_m_per_ns"]
    skew = shown - shown.min(axis=1, keepdims=True)
    per_m = cables.resistance_ohm_m(gauge, degc)
    if links.kind:
        per_m = np.where(links.odd, per_m * c["odd"][links.kind]["resistance"], per_m)
    plugs = links.connections * c["spread"]["connection_ohm"]
    wire = (links.run_m + 2 * links.cord_m) * per_m[:, None] + plugs * (
        1 + 0.3 * draws.normal(seed, "ohm", links.link, 4)
    )
    loop = 2 * wire * (1 + 0.0008 * noise[:, 4:8])
    unbalance = np.abs(c["spread"]["resistance_unbalance_sd"] * draws.normal(seed, "unbalance", links.link, 4))
    first = [PAIRS.index(x.split("/")[0]) for x in COMBINATIONS]
    second = [PAIRS.index(x.split("/")[1]) for x in COMBINATIONS]
    between = 100 * np.abs(loop[:, first] - loop[:, second]) / (loop[:, first] + loop[:, second])
    parts = [length, shown, skew, loop, unbalance, between, np.asarray(degc).reshape(n, 1)]
    values = np.concatenate(parts, axis=1)
    for column, kind in enumerate(KINDS):
        values[:, column] = round_to(values[:, column], kind.step)
    return values
