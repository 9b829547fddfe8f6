"""Physics as evidence: what a curve over frequency looks like, and whether lengths fit delays.

Insertion loss grows like the square root of frequency (skin effect; copper.md section 3: k1 v + k2 f + k3/v with k2
small). Near-end crosstalk of cable falls by 15 dB, of connecting hardware and far-end crosstalk by 20 dB a decade
(section 3). Return loss is flat, then falls by 10 dB or less. Delay over length gives 0.5 to 0.9 of the speed of light
(fiber-and-records.md P01, P03). The figures stand in schemas/hypotheses.toml.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from archive.formats.draft.hypotheses import hypotheses

C_M_PER_NS = 0.299792458
"""Speed of light, m/ns (exact by definition)."""


@dataclass(frozen=True)
class Shape:
    """Of a curve: correlation with the square root of frequency; r squared of a square root law; slope in dB a decade;
    lowest and highest value; share of negative values. Losses written below zero are turned."""

    rise: float
    root: float
    slope: float
    low: float
    high: float

    @property
    def size(self) -> float:
        """The largest level."""
        return max(abs(self.low), abs(self.high))


def shape(mhz: Any, values: Any) -> Shape | None:
    """The shape of a curve: frequencies in any unit, values in dB, float64 of shape (points,). None below five."""
    ok = np.isfinite(mhz) & np.isfinite(values) & (mhz > 0)
    f, v = mhz[ok], values[ok]
    if len(f) < 5 or f.max() <= f.min():
        return None
    v = -v if (v < 0).mean() > 0.9 else v
    a = np.stack([np.sqrt(f), f, np.ones_like(f)], axis=1)
    a = a / a.max(axis=0)
    fitted = a @ np.linalg.lstsq(a, v, rcond=None)[0]
    spread = float(((v - v.mean()) ** 2).sum())
    root = 1 - float(((v - fitted) ** 2).sum()) / spread if spread > 0 else 0.0
    slope = float(np.polyfit(np.log10(f), v, 1)[0])
    rise = float(np.corrcoef(np.sqrt(f), v)[0, 1]) if v.std() > 0 else 0.0
    return Shape(rise, root, slope, float(v.min()), float(v.max()))


def agrees(parameter: str, found: Shape | None, margin: bool = False) -> int:
    """1 where a shape speaks for a parameter, -1 where against it, 0 where it says nothing."""
    if found is None:
        return 0
    if margin:
        return 1 if found.low > -60 and found.high < 80 else -1
    known = hypotheses().shape
    if found.size > hypotheses().decibel.possible:
        return -1
    if parameter == "insertion_loss":
        return 1 if found.rise > known.rises else -1 if found.rise < known.does_not_rise else 0
    if parameter in known.falling:
        if found.slope < -known.falls_by and found.rise < -0.5:
            return 1
        return -1 if found.rise > 0.9 and found.slope > known.falls_by / 2 else 0
    if parameter == "return_loss":
        if known.flat[0] < found.slope < known.flat[1] and found.rise < 0.9:
            return 1
        return -1 if found.rise > known.rises and found.slope > known.falls_by else 0
    return 0


def guess(found: Shape | None) -> tuple[str, float, str]:
    """The family of a curve whose heading says nothing: a parameter, how probable, and why."""
    if found is None or found.size > hypotheses().decibel.possible:
        return "", 0.0, ""
    if found.rise > 0.985 and found.root > 0.99 and found.slope > 2:
        return "insertion_loss", 0.8, "grows like the square root of frequency"
    if -30 < found.slope < -10 and found.rise < -0.6:
        return "next", 0.5, f"falls by {-found.slope:.0f} dB a decade"
    if -14 <= found.slope < 6 and found.high < 60:
        return "return_loss", 0.45, "flat, then falling"
    return "", 0.0, ""


def first_run(values: Any, mhz: Any) -> Any:
    """The values of the first record: as far as its frequencies rise."""
    falls = np.flatnonzero(np.diff(mhz) <= 0)
    return values[: int(falls[0]) + 1] if len(falls) else values


def same_at(names: Sequence[str], at: Any, level: Any) -> float:
    """Share of the quantities and frequencies that come again at which levels are the same; 0.5 where none does.

    names: of the quantities, at: frequencies, level: in dB, each of shape (rows,)."""
    by: dict[tuple[str, float], list[float]] = defaultdict(list)
    for name, f, v in zip(names, at.tolist(), level.tolist(), strict=False):
        if np.isfinite(f) and np.isfinite(v):
            by[str(name), f].append(v)
    again = [v for v in by.values() if len(v) > 1]
    return sum(max(v) - min(v) < 0.11 for v in again) / len(again) if again else 0.5


def part_of(names: Sequence[str], at: Any, value: Any, mine: Any) -> str:
    """limit or margin: which of both some numbers are beside values, by what is the same at one frequency; or ""."""
    limit = same_at(names, at, np.abs(mine))
    margin = max(same_at(names, at, np.abs(value) + mine), same_at(names, at, np.abs(value) - mine))
    return "limit" if limit > 0.9 and margin < 0.6 else "margin" if margin > 0.9 and limit < 0.6 else ""


def velocity(length: Any, delay: Any) -> float | None:
    """Median of length over delay as a share of the speed of light, both in the tables' units (m, ns), or None.

    One that holds for a whole file and one of each record say nothing of each other."""
    if len(length) != len(delay):
        return None
    ok = np.isfinite(length) & np.isfinite(delay) & (delay > 0) & (length > 0)
    if not ok.any():
        return None
    return float(np.median(length[ok] / delay[ok]) / C_M_PER_NS)


def likely_velocity(share: float | None) -> bool:
    """Whether a share of the speed of light is one that pairs have."""
    low, high = hypotheses().velocity.share
    return share is not None and low <= share <= high
