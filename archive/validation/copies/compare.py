"""Two records compared in full: the correlation of their residuals, and how one came out of the other."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from archive.tables.arrow import Bools, Reals
from archive.validation.copies.residual import (
    GROUP_OF,
    GROUPS,
    SLOTS,
    SWAPPED,
    EvidencePart,
    Singles,
    filled,
    residuals,
    smooth_basis,
)

_STEPS = (5.0, 3.0, 2.0, 1.0, 0.5, 0.25, 0.2, 0.1, 0.05, 0.02, 0.01)
LEAST_IN_PART = 3
"""Curves of one parameter at one end that a part of a record needs."""


@dataclass(frozen=True)
class Evidence:
    """The curves of one record: mhz (m,), values (20, m) in dB, NaN where there is none."""

    mhz: Reals
    values: Singles


def evidence(part: EvidencePart, place: int) -> Evidence:
    """Evidence of one record of a part."""
    return Evidence(part.mhz, part.values[place])


@dataclass(frozen=True)
class Compared:
    """What two records have in common.

    r: correlation of the residuals per slot of a, NaN where one of the two has no curve worth comparing; equal: per
    slot, all values equal; kind: exact, rounded, shifted, scaled or near; differs: standard deviation of the
    difference in dB over the matching curves, after its mean is taken away.
    """

    r: Reals
    equal: Bools
    kind: str
    differs: float

    @property
    def mean(self) -> float:
        """Mean correlation over all common curves, NaN where there is none."""
        return float(np.nanmean(self.r)) if (~np.isnan(self.r)).any() else float("nan")

    @property
    def curves(self) -> int:
        """Number of common curves."""
        return int((~np.isnan(self.r)).sum())

    @property
    def by_part(self) -> dict[tuple[str, str], float]:
        """Mean correlation of each parameter at one end that has enough common curves."""
        out = {}
        for number, key in enumerate(GROUPS):
            mine = self.r[number == GROUP_OF]
            if (~np.isnan(mine)).sum() >= LEAST_IN_PART:
                out[key] = float(np.nanmean(mine))
        return out


def compare(
    a: Evidence, b: Evidence, swapped: bool, *, terms: int, least_points: int, least_residual_db: float
) -> Compared:
    """Compares the common slots over the common range; swapped: the ends of b are exchanged first."""
    x, y, mhz = _on_one_axis(a, b)
    if swapped:
        y = y[SWAPPED]
    usable = ~np.isnan(x).all(axis=1) & ~np.isnan(y).all(axis=1)
    r, equal = np.full(len(SLOTS), np.nan), np.zeros(len(SLOTS), dtype=bool)
    if len(mhz) < least_points or not usable.any():
        return Compared(r, equal, "near", float("nan"))
    basis = smooth_basis(mhz, terms)
    left, right = (residuals(filled(v[usable].copy()[None])[0], basis) for v in (x, y))
    spread = np.minimum(left.std(axis=1), right.std(axis=1))
    good = spread >= least_residual_db
    at = np.flatnonzero(usable)[good]
    product = np.einsum("km,km->k", left[good], right[good])
    norm = np.einsum("km,km->k", left[good], left[good]) * np.einsum("km,km->k", right[good], right[good])
    r[at] = product / np.sqrt(norm)
    equal[at] = [np.array_equal(p, q, equal_nan=True) for p, q in zip(x[at], y[at], strict=True)]
    matching = at[r[at] >= 0.95]
    kind, differs = _kind(x[matching], y[matching]) if len(matching) else ("near", float("nan"))
    return Compared(r, equal, kind, differs)


def _on_one_axis(a: Evidence, b: Evidence) -> tuple[Singles, Singles, Reals]:
    if len(a.mhz) == len(b.mhz) and np.array_equal(a.mhz, b.mhz):
        return a.values, b.values, a.mhz
    low, high = max(a.mhz[0], b.mhz[0]), min(a.mhz[-1], b.mhz[-1])
    inside = (a.mhz >= low) & (a.mhz <= high)
    mhz = a.mhz[inside]
    other = np.stack([np.interp(mhz, b.mhz, v) for v in b.values]) if len(mhz) else np.zeros((len(SLOTS), 0))
    return a.values[:, inside], other.astype(np.float32), mhz


def _kind(x: Singles, y: Singles) -> tuple[str, float]:
    """How y came out of x, over curves (k, m) that agree. A curve at a time has its own shift or factor."""
    known = ~np.isnan(x) & ~np.isnan(y)
    x, y = np.where(known, x, 0.0).astype(np.float64), np.where(known, y, 0.0).astype(np.float64)
    n = np.maximum(known.sum(axis=1), 1)
    off = np.where(known, y - x, 0.0)
    if not off.any():
        return "exact", 0.0
    mean_off = off.sum(axis=1) / n
    rest = np.where(known, off - mean_off[:, None], 0.0)
    differs = float(np.sqrt((rest**2).sum() / n.sum()))
    step = max(_step(x[known]), _step(y[known]))
    if np.abs(off).max() <= step / 2 * 1.02 + 0.051:
        return "rounded", differs
    # the scatter that rounding of both to the coarser step leaves around a straight line
    scatter = 0.02 + 0.45 * step
    if differs <= scatter:
        return "shifted", differs
    mean_x = (x.sum(axis=1) / n)[:, None]
    centred = np.where(known, x - mean_x, 0.0)
    factor = (centred * rest).sum(axis=1) / np.maximum((centred**2).sum(axis=1), 1e-9)
    left = np.sqrt(((rest - factor[:, None] * centred) ** 2).sum() / n.sum())
    return ("scaled" if left <= scatter else "near"), differs


def _step(values: npt.NDArray[np.floating[Any]]) -> float:
    """The coarsest common step of some numbers in dB, 0 where they have none of the usual ones."""
    for step in _STEPS:
        scaled = values / step
        if np.abs(scaled - np.rint(scaled)).max(initial=0.0) < 0.002 / step * 0.05 + 1e-4:
            return step
    return 0.0
