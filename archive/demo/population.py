"""How links differ: their lengths, cables, pairs and temperatures."""

from __future__ import annotations

from functools import cache
from typing import Any

import numpy as np

from archive.demo import cables, draws, faults
from archive.demo.curves import Links
from archive.demo.options import OfJob, Options


@cache
def amplitude_correlation(residual: float) -> float:
    """Correlation of complex amplitudes that gives this correlation of levels in dB.

    For two complex normal amplitudes with correlation r, the logarithms of their powers are correlated by
    Li2(r^2) / Li2(1), where Li2(x) is the sum of x^k / k^2 (mathematics; a test draws it).
    """
    k = np.arange(1, 4000)
    low, high = 0.0, 1.0
    for _ in range(50):
        middle = (low + high) / 2
        if np.sum(middle**k / k**2) * 6 / np.pi**2 < residual:
            low = middle
        else:
            high = middle
    return float(np.sqrt(low))


def links(seed: int, k: Any, o: Options, of: OfJob, test: int = 0) -> tuple[Links, Any]:
    """Links of some numbers (n,), all of one job, and their temperatures in degC (n,).

    test: 0 as their first test found them, 1 as a later one did."""
    c = cables.facts()
    spread, setup = c["spread"], c["configuration"][of.configuration]
    bundle = k // o.bundle
    u = draws.uniform(seed, "link", k, 2)
    v = draws.uniform(seed, "bundle", bundle, 4)
    plan = faults.plant(seed, k, of.fail_rate)
    length = _triangular(v[:, 0] if o.equal_lengths else np.clip(v[:, 0] + 0.12 * (u[:, 0] - 0.5), 0, 1), *o.length_m)
    if o.equal_lengths:
        length = length + 0.04 * (u[:, 0] - 0.5)
    if test == 0:  # what fails by its loss was pulled too long, and is run anew before its next test
        length = np.where(plan.names == "insertion_loss", spread["too_long_m"] + 3 * u[:, 0], length)
    degc = np.interp(v[:, 1], [0, 1], spread["temperature_degc"]) + 0.5 * u[:, 1]
    warm = c["constants"]["loss_per_degc"]["screened" if of.screened else "unscreened"] * (degc - 20)
    lay = np.array(spread["lay"]) + spread["lay_sd"] * draws.normal(seed, "lay", bundle, 4)
    made = Links(
        seed=seed,
        category=of.category,
        link=k,
        bundle=bundle,
        test=k + (test << 40),
        length_m=length,
        run_m=length[:, None] * lay,
        loss_factor=np.interp(v[:, 2], [0, 1], spread["loss_of_standard"]) * (1 + warm),
        velocity=np.interp(v[:, 3], [0, 1], spread["velocity_of_standard"]),
        connections=setup["connections"],
        cord_m=setup["cord_m"],
        correlation=amplitude_correlation(o.bundle_correlation),
        odd=cables.odd(seed, k, o.cable_is, o.cable_is_share),
        kind=o.cable_is,
    )
    return made, degc


def _triangular(along: Any, low: float, mode: float, high: float) -> Any:
    rising = low + np.sqrt(along * (high - low) * (mode - low))
    falling = high - np.sqrt((1 - along) * (high - low) * (high - mode))
    return np.where(along < (mode - low) / (high - low), rising, falling)
