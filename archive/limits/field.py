"""What concerns measuring in the field: temperature, frequency steps (schemas/limits/field.toml)."""

from __future__ import annotations

import math

import numpy as np
import numpy.typing as npt

from archive import schemas

_FILE = "limits/field.toml"


def temperature_factor(celsius: float, *, screened: bool) -> float:
    """By what the insertion loss of a cable at 20 C is multiplied at another temperature.

    celsius: 20 to 60. Returns 1.08 for unscreened cable at 40 C and so on; NaN outside the range that is stated.
    Source: ANSI/TIA-568-C.2, 6.4.7, quoted by S11.
    """
    table = schemas.load(_FILE)["temperature"]
    rows = table["screened" if screened else "unscreened"]
    if not rows[0][0] <= celsius <= rows[-1][1]:
        return math.nan
    return 1.0 + math.fsum(max(0.0, min(celsius, high) - low) * percent / 100 for low, high, percent in rows)


def widest_step_mhz(f_mhz: npt.ArrayLike) -> npt.NDArray[np.float64]:
    """The widest step that field-test standards allow between a measured frequency and the one below it, MHz.

    f_mhz: any shape, MHz. Returns the same shape. Below the first and above the last row of the table their steps hold.
    From memory (C).
    """
    rows = np.array(schemas.load(_FILE)["frequency_step"]["rows"], np.float64)
    place = np.searchsorted(rows[:, 1] * (1 + 1e-9), np.asarray(f_mhz, np.float64))
    steps: npt.NDArray[np.float64] = rows[np.minimum(place, len(rows) - 1), 2]
    return steps


def printed_frequencies() -> tuple[float, ...]:
    """The frequencies at which tables of limits are printed, MHz, rising."""
    return tuple(float(f) for f in schemas.load(_FILE)["printed_frequencies"]["mhz"])
