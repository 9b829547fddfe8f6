"""The curve of a trace from what lies along the fiber: slope, steps, reflections, dead zones, noise."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

from archive.demo.backbone.trace_bytes import LIGHT_M_PER_S, WrittenEvent

_TOP_DB, _FLOOR_DB = 12.0, 52.0
"""Level of the near end and of the noise, below the reference. Invented."""


def levels(
    events: Sequence[WrittenEvent], db_km: float, *, point_m: float, pulse_ns: float, index: float, seed: int
) -> npt.NDArray[np.float64]:
    """Level of each point below the reference, dB, to half again beyond the last event, which ends the fiber.

    A reflection stands one pulse long above the curve and decays behind it: what lies in there is not seen.
    """
    draw = np.random.default_rng(seed)
    end = events[-1].km
    km = np.arange(0.0, end * 1.5 + 0.2, point_m / 1000)
    power = _TOP_DB + km * db_km
    pulse_km = pulse_ns * 1e-9 * LIGHT_M_PER_S / index / 2 / 1000
    for event in events[:-1]:
        power = power + event.loss_db / (1 + np.exp(np.clip(-(km - event.km) / (pulse_km / 6 + 1e-6), -50, 50)))
    power = np.where(km > end, _FLOOR_DB, power)
    linear = 10 ** (-power / 5) + 10 ** (-(_FLOOR_DB + draw.normal(0.0, 0.8, len(km))) / 5)
    for event in events:
        if event.reflectance_db:
            height = max(0.0, 60.0 + event.reflectance_db) / 5
            at = km - event.km
            top = 10 ** (-(np.interp(event.km, km, power)) / 5) * 10 ** (height / 2)
            shape = np.where(
                (at >= 0) & (at < pulse_km), 1.0, np.exp(-np.clip(at - pulse_km, 0, None) / (pulse_km * 0.4))
            )
            linear = linear + np.where(at >= 0, top * shape, 0.0)
    return np.asarray(np.clip(-5 * np.log10(linear) + draw.normal(0.0, 0.004, len(km)), 0.0, 65.0))
