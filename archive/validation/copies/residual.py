"""Curves of near-end crosstalk and return loss, and their residuals after a smooth fit over frequency."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import TypeAlias

import numpy as np
import numpy.typing as npt

from archive.tables.arrow import Bools, Ints, Reals
from archive.tables.curves import CurveArrays
from archive.vocabulary import COMBINATIONS, ENDS, PAIRS

Singles: TypeAlias = npt.NDArray[np.float32]
"""Values in dB, in single precision."""

SLOTS: tuple[tuple[str, str, str], ...] = (
    *(("next", e, c) for e in ENDS for c in COMBINATIONS),
    *(("return_loss", e, p) for e in ENDS for p in PAIRS),
)
"""The 20 curves of a record that carry the evidence: parameter, end, pairing."""

GROUPS: tuple[tuple[str, str], ...] = tuple((p, e) for p in ("next", "return_loss") for e in ENDS)
"""Curves of one parameter at one end."""

GROUP_OF = np.array([GROUPS.index((p, e)) for p, e, _ in SLOTS])
"""Group of each slot."""

SWAPPED = np.array([SLOTS.index((p, {"local": "remote", "remote": "local"}[e], c)) for p, e, c in SLOTS])
"""The slot at the other end: a link tested from its other end has them exchanged."""


@dataclass(frozen=True)
class EvidencePart:
    """Records that share an axis. rows: rows of the records table; mhz: (m,); values: (n, 20, m) float32 in dB, NaN
    where a curve or a point is missing; at: (n, 20) rows of the sweeps table, -1 where there is no curve."""

    rows: Ints
    mhz: Reals
    values: Singles
    at: Ints


def parts(curves: CurveArrays, most: int = 48) -> Iterator[EvidencePart]:
    """The evidence of the records of a batch at most so many records at once.

    A record whose curves lie on several axes is taken on the one that most of them share.
    """
    at = _slots(curves)
    if not (at >= 0).any():
        return
    axes = np.where(at >= 0, curves.axis[at], -1)
    for axis in range(len(curves.axes_mhz)):
        share = (axes == axis).sum(axis=1)
        rows = np.flatnonzero((share > 0) & (share == _most(axes)))
        rows = rows[_first_of_equals(axes[rows], axis)]
        mhz = curves.axes_mhz[axis]
        for start in range(0, len(rows), most):
            part = rows[start : start + most]
            mine = np.where(axes[part] == axis, at[part], -1)
            values = np.full((len(part), len(SLOTS), len(mhz)), np.nan, dtype=np.float32)
            there = mine >= 0
            values[there] = curves.matrix(mine[there], len(mhz))
            yield EvidencePart(part, mhz, values, mine)


def _slots(curves: CurveArrays) -> Ints:
    """Row of the sweeps table of each slot, (records, 20), -1 where there is none."""
    out = np.full((curves.records, len(SLOTS)), -1, dtype=np.int64)
    usable = curves.of("next", "return_loss")
    words = zip(*(curves.words(c, usable) for c in ("parameter", "end", "pairing")), strict=True)
    place = {slot: i for i, slot in enumerate(SLOTS)}
    slot = np.array([place.get(w, -1) for w in words], dtype=np.int64)
    known = slot >= 0
    out[curves.record[usable[known]], slot[known]] = usable[known]
    return out


def _most(axes: Ints) -> Ints:
    """Largest number of curves of each record on one axis."""
    best = np.zeros(len(axes), dtype=np.int64)
    for axis in np.unique(axes[axes >= 0]):
        np.maximum(best, (axes == axis).sum(axis=1), out=best)
    return best


def _first_of_equals(axes: Ints, axis: int) -> Bools:
    """True where no lower axis has as many curves of the record: each record is taken once."""
    share = (axes == axis).sum(axis=1)
    first = np.ones(len(axes), dtype=bool)
    for lower in range(axis):
        first &= (axes == lower).sum(axis=1) < share
    return first


def smooth_basis(mhz: Reals, terms: int) -> Singles:
    """Orthonormal columns that span the smooth curves: Legendre polynomials in log f, (m, terms) float32."""
    x = np.log(np.maximum(mhz, 1e-3))
    x = 2 * (x - x[0]) / (x[-1] - x[0]) - 1
    q, _ = np.linalg.qr(np.polynomial.legendre.legvander(x, terms - 1))
    return np.asarray(q, dtype=np.float32)


def residuals(values: Singles, basis: Singles) -> Singles:
    """What a smooth fit leaves of curves (..., m), same shape."""
    return np.asarray(values - (values @ basis) @ basis.T, dtype=np.float32)


def filled(values: Singles) -> Singles:
    """Curves with missing or infinite points filled by their neighbours; one that lacks more than 5 % becomes zero.

    values: (n, slots, m), changed in place and returned.
    """
    gone = ~np.isfinite(values)
    if not gone.any():
        return values
    share = gone.mean(axis=-1)
    values[share > 0.05] = 0.0
    for i, k in np.argwhere((share > 0) & (share <= 0.05)):
        curve, bad = values[i, k], gone[i, k]
        place = np.arange(len(curve))
        curve[bad] = np.interp(place[bad], place[~bad], curve[~bad])
    return values
