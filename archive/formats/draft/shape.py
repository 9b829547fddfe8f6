"""Physics as evidence: what a curve over frequency looks like, and whether lengths fit delays.

Insertion loss grows like the square root of frequency (skin effect; copper.md section 3: k1 v + k2 f + k3/v with k2
small). Near-end crosstalk of cable falls by 15 dB, of connecting hardware and far-end crosstalk by 20 dB a decade
(section 3). Return loss is flat, then falls by 10 dB or less. A limit is smooth to its last digit. Delay over length
gives 0.5 to 0.9 of the speed of light (fiber-and-records.md P01, P03).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

C_M_PER_NS = 0.299792458
"""Speed of light, m/ns (exact by definition)."""


@dataclass(frozen=True)
class Shape:
    """Of one or several curves: points; fit to a square root law (r squared); slope in dB a decade; roughness (median
    size of second differences in dB); lowest and highest value; share of negative values."""

    points: int
    root: float
    slope: float
    rough: float
    low: float
    high: float
    negative: float
    rise: float


def shape(mhz: Any, values: Any) -> Shape | None:
    """The shape of a curve: frequencies in any unit, values in dB. None with fewer than five points."""
    ok = np.isfinite(mhz) & np.isfinite(values) & (mhz > 0)
    f, v = mhz[ok], values[ok]
    if len(f) < 5 or f.max() <= f.min():
        return None
    a = np.stack([np.sqrt(f), f, np.ones_like(f)], axis=1)
    coefficients, *_ = np.linalg.lstsq(a / a.max(axis=0), v, rcond=None)
    fitted = (a / a.max(axis=0)) @ coefficients
    spread = float(((v - v.mean()) ** 2).sum())
    root = 1 - float(((v - fitted) ** 2).sum()) / spread if spread > 0 else 0.0
    decades = np.log10(f)
    slope = float(np.polyfit(decades, v, 1)[0])
    rough = float(np.median(np.abs(np.diff(v, 2)))) if len(v) > 3 else 0.0
    rise = float(np.corrcoef(np.sqrt(f), v)[0, 1]) if v.std() > 0 else 0.0
    return Shape(len(f), root, slope, rough, float(v.min()), float(v.max()), float((v < 0).mean()), rise)


FALLING = frozenset(
    (
        *("next", "ps_next", "fext", "ps_fext", "acr_f", "ps_acr_f", "elfext", "ps_elfext", "acr_n", "ps_acr_n"),
        *("anext", "ps_anext", "afext", "ps_afext", "aacr_f", "ps_aacr_f", "tcl", "tctl", "lcl", "lctl", "eltctl"),
        *("ps_anext_average", "ps_aacr_f_average"),
    )
)


def agrees(parameter: str, found: Shape | None, margin: bool = False) -> int:
    """1 where a shape speaks for a parameter, -1 where against it, 0 where it says nothing."""
    if found is None:
        return 0
    if margin:
        return 1 if found.low > -60 and found.high < 80 else -1
    turned = found.negative > 0.9
    rise, slope = (-found.rise, -found.slope) if turned else (found.rise, found.slope)
    size = max(abs(found.low), abs(found.high))
    if size > 160:
        return -1
    if parameter == "insertion_loss":
        if rise > 0.97:
            return 1
        return -1 if rise < 0.6 else 0
    if parameter in FALLING:
        if slope < -6 and rise < -0.5:
            return 1
        return -1 if rise > 0.9 and slope > 3 else 0
    if parameter == "return_loss":
        if -22 < slope < 12 and rise < 0.9:
            return 1
        return -1 if rise > 0.97 and slope > 5 else 0
    return 0


def guess(found: Shape | None) -> tuple[str, float, str]:
    """The family of a curve whose heading says nothing: a parameter, how sure, and why."""
    if found is None or max(abs(found.low), abs(found.high)) > 160:
        return "", 0.0, ""
    turned = found.negative > 0.9
    rise, slope = (-found.rise, -found.slope) if turned else (found.rise, found.slope)
    if rise > 0.985 and found.root > 0.99 and slope > 2:
        return "insertion_loss", 0.8, "grows like the square root of frequency"
    if -30 < slope < -10 and rise < -0.6:
        return "next", 0.5, f"falls by {-slope:.0f} dB a decade"
    if -14 <= slope < 6 and found.high < 60:
        return "return_loss", 0.45, "flat, then falling"
    return "", 0.0, ""


def velocity(length: Any, delay: Any) -> float | None:
    """Median of length over delay as a share of the speed of light, both in the tables' units (m, ns), or None.

    One that holds for a whole file and one of each record say nothing of each other."""
    if len(length) != len(delay):
        return None
    ok = np.isfinite(length) & np.isfinite(delay) & (delay > 0) & (length > 0)
    if not ok.any():
        return None
    return float(np.median(length[ok] / delay[ok]) / C_M_PER_NS)


def likely_velocity(share: float) -> bool:
    """Between 0.5 and 0.9 of the speed of light."""
    return 0.5 <= share <= 0.9
