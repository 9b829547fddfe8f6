"""Insertion loss against the shape that a cable has: a sqrt(f) + b f + c / sqrt(f)."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from archive.tables.arrow import Bools, Ints, Reals
from archive.tables.curves import CurveArrays

LEAST_POINTS = 12
"""Curves with fewer points are not fitted."""


@dataclass(frozen=True)
class LossFit:
    """One entry per measured insertion-loss curve with enough points.

    at: row of the sweeps table; rms: root mean square of the residual, dB; jump, jump_mhz: largest step of the residual
    from one point to the next and where; fall, fall_mhz: largest fall of the smoothed curve below what it had reached;
    top: highest value; first_mhz, last_mhz: its range; factors: (entries, 3), those of `basis`.
    """

    at: Ints
    rms: Reals
    jump: Reals
    jump_mhz: Reals
    fall: Reals
    fall_mhz: Reals
    top: Reals
    first_mhz: Reals
    last_mhz: Reals
    factors: Reals

    def at_mhz(self, mhz: float) -> Reals:
        """Fitted loss in dB at a frequency, NaN where the curve does not reach it."""
        reaches: Bools = np.asarray((self.first_mhz <= mhz) & (mhz <= self.last_mhz * 1.001))
        return np.where(reaches, self.factors @ basis(np.array([mhz]))[0], np.nan)


def basis(mhz: Reals) -> Reals:
    """sqrt(f), f, 1 / sqrt(f) as columns, f in MHz."""
    root = np.sqrt(mhz)
    return np.stack([root, mhz, 1 / root], axis=1)


def fit(curves: CurveArrays, highest_mhz: float, bands: int) -> LossFit:
    """Fits every measured insertion-loss curve up to a frequency in MHz; bands: number of smoothing bands."""
    parts: list[tuple[Ints | Reals, ...]] = []
    for block in curves.blocks(curves.of("insertion_loss")):
        use = int(np.searchsorted(block.mhz, highest_mhz, side="right"))
        mhz = block.mhz[:use]
        if use < LEAST_POINTS or not (np.diff(mhz) > 0).all() or mhz[0] <= 0:
            continue
        values = block.values[:, :use]
        whole = np.isfinite(values).all(axis=1)
        if whole.any():
            parts.append(_fit(block.rows[whole], mhz, values if whole.all() else values[whole], bands))
    none = [np.zeros(0)] * 9 + [np.zeros((0, 3))]
    columns = [np.concatenate(c) for c in zip(*parts, strict=True)] if parts else none
    return LossFit(columns[0].astype(np.int64), *columns[1:])


def _fit(at: Ints, mhz: Reals, values: Reals, bands: int) -> tuple[Ints | Reals, ...]:
    shape = basis(mhz)
    factors = values @ np.linalg.pinv(shape).T
    rest = values - factors @ shape.T
    steps = np.abs(np.diff(rest, axis=1))
    most = steps.argmax(axis=1)
    edges = np.unique(np.searchsorted(mhz, np.geomspace(mhz[0], mhz[-1], bands + 1)[:-1]))
    smooth = np.add.reduceat(values, edges, axis=1) / np.diff(np.append(edges, len(mhz)))
    falls = np.maximum.accumulate(smooth, axis=1) - smooth
    deepest = falls.argmax(axis=1)
    row = np.arange(len(values))
    return (
        at,
        np.sqrt(np.mean(rest**2, axis=1)),
        steps[row, most],
        mhz[most],
        falls[row, deepest],
        mhz[edges[deepest]],
        values.max(axis=1),
        np.full(len(values), mhz[0]),
        np.full(len(values), mhz[-1]),
        factors,
    )
