"""Sketches of records: what is kept of each record's curves while a whole archive goes by.

Per record: a hash of each of its 20 curves (equal curves, equal hash), and for each parameter, end and band of
frequency 64 random projections of the standardised residuals, as eight-bit numbers and as their signs. Two records
whose residuals are correlated by r have signs that differ in a share acos(r) / pi of the places.
About 1.1 kB per record.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cache
from typing import NamedTuple, TypeAlias

import numpy as np
import numpy.typing as npt

from archive.tables import Batch
from archive.tables.arrow import Bools, Ints, Reals
from archive.tables.curves import CurveArrays
from archive.validation.copies.identity import Identities
from archive.validation.copies.residual import GROUP_OF, GROUPS, SLOTS, Singles, filled, parts, residuals, smooth_basis
from archive.validation.look import RecordLook

Bits: TypeAlias = npt.NDArray[np.uint64]

BANDS: tuple[tuple[float, float, float], ...] = ((10.0, 100.0, 0.25), (100.0, 250.0, 0.5), (250.0, 500.0, 1.0))
"""From, to and step in MHz of the reference grids on which the random functions are laid out."""
BITS = 64
SEGMENTS = len(GROUPS) * len(BANDS)
SCALE = 40.0
_SEED = 20261125
LEAST = 16
"""Points of an axis that a band needs."""
EDGE = 0.06
"""Share of a band that may lie outside the axis at either end."""
_BAND_TERMS = 5


class SketchArrays(NamedTuple):
    """Sketches of n records. hashes: (n, 20), 0 where there is no curve worth comparing; signs: (n, 4 groups, 3 bands);
    codes: (n, 12 segments, 64); there: (n, 12), the segment has curves."""

    hashes: Bits
    signs: Bits
    codes: npt.NDArray[np.int8]
    there: Bools


_EMPTY = SketchArrays(
    np.zeros((0, len(SLOTS)), np.uint64),
    np.zeros((0, len(GROUPS), len(BANDS)), np.uint64),
    np.zeros((0, SEGMENTS, BITS), np.int8),
    np.zeros((0, SEGMENTS), np.bool_),
)


@dataclass
class Sketches:
    """Sketches of any number of records, filled batch by batch."""

    least_points: int = 20
    least_residual_db: float = 0.3
    smooth_terms: int = 8
    who: Identities = field(default_factory=Identities)
    _parts: list[SketchArrays] = field(default_factory=list)

    def add(self, batch: Batch) -> None:
        """Takes in the records of a batch that have NEXT or return-loss curves: all of them, or none where it fails."""
        look = RecordLook(batch, "1970-01-01")
        made: list[tuple[Ints, SketchArrays]] = []
        for part in parts(look.curves):
            values = filled(part.values)
            hashes = _hashes(look.curves, part.at, part.mhz)
            hashes[~self._worth(values, part.mhz)] = 0
            keep = (hashes != 0).any(axis=1)
            if keep.any():
                codes, there = _project(values[keep], hashes[keep] != 0, part.mhz)
                made.append((part.rows[keep], SketchArrays(hashes[keep], _signs(codes), codes, there)))
        for rows, sketches in made:
            self.who.add(look, rows)
            self._parts.append(sketches)

    def merge(self, other: Sketches) -> None:
        """Takes in all records of other sketches, made with the same tolerances."""
        self.who.merge(other.who)
        self._parts += other._parts

    def _worth(self, values: Singles, mhz: Reals) -> Bools:
        """True for curves (n, 20) with enough points and enough structure."""
        if len(mhz) < self.least_points:
            return np.zeros(values.shape[:2], dtype=bool)
        rest = residuals(values, smooth_basis(mhz, self.smooth_terms))
        return np.asarray(rest.std(axis=-1) >= self.least_residual_db)

    def __len__(self) -> int:
        return len(self.who)

    @property
    def arrays(self) -> SketchArrays:
        """All sketches so far, one row per record with evidence."""
        if len(self._parts) != 1:
            self._parts = [SketchArrays(*(np.concatenate(c) for c in zip(_EMPTY, *self._parts, strict=True)))]
        return self._parts[0]


@cache
def _multipliers(points: int) -> Bits:
    rng = np.random.default_rng(_SEED + points)
    return rng.integers(1, 2**63, points, dtype=np.uint64) * np.uint64(2) + np.uint64(1)


def _hashes(curves: CurveArrays, at: Ints, mhz: Reals) -> Bits:
    """uint64 per curve from the bits of its numbers; equal curves on equal axes have equal hashes. 0: no curve."""
    times = _multipliers(len(mhz))
    salt = (np.ascontiguousarray(mhz).view(np.uint64) * times).sum(dtype=np.uint64)
    out = np.zeros(at.shape, dtype=np.uint64)
    there = at >= 0
    bits = (curves.matrix(at[there], len(mhz)) + 0.0).view(np.uint64)
    bits ^= bits >> np.uint64(29)
    out[there] = ((bits * times).sum(axis=1, dtype=np.uint64) ^ salt) | np.uint64(1)
    return out


@cache
def _functions(band: int, slot: int) -> Singles:
    """Random functions of one band for one curve of a group, (grid points, BITS) float32; both ends share them."""
    low, high, step = BANDS[band]
    points = round((high - low) / step) + 1
    return np.random.default_rng([_SEED, band, slot]).standard_normal((points, BITS)).astype(np.float32)


@dataclass(frozen=True)
class Projection:
    """One band on one axis: points first to last of the axis; basis of smooth curves; functions by place in a group."""

    first: int
    last: int
    basis: Singles
    functions: tuple[Singles, ...]


_projections: dict[tuple[int, bytes], Projection | None] = {}


def _projection(band: int, mhz: Reals) -> Projection | None:
    """None where the axis does not cover the band, or with too few points."""
    key = (band, mhz.tobytes())
    if key not in _projections:
        if len(_projections) > 200:
            _projections.clear()
        _projections[key] = _make(band, mhz)
    return _projections[key]


def _make(band: int, mhz: Reals) -> Projection | None:
    low, high, step = BANDS[band]
    first, last = int(np.searchsorted(mhz, low - 1e-9)), int(np.searchsorted(mhz, high + 1e-9))
    inside = mhz[first:last]
    if last - first < LEAST or inside[0] > low + EDGE * (high - low) or inside[-1] < high - EDGE * (high - low):
        return None
    basis = smooth_basis(inside, _BAND_TERMS)
    # the integral of a curve, drawn straight between its points, against a function that is given on the grid
    grid = low + step * np.arange(round((high - low) / step) + 1)
    right = np.clip(np.searchsorted(inside, grid), 1, len(inside) - 1)
    weight = np.clip((grid - inside[right - 1]) / (inside[right] - inside[right - 1]), 0.0, 1.0).astype(np.float32)
    made = []
    for slot in range(max(np.bincount(GROUP_OF))):
        functions = _functions(band, slot)
        out = np.zeros((len(inside), BITS), dtype=np.float32)
        np.add.at(out, right, functions * weight[:, None])
        np.add.at(out, right - 1, functions * (1 - weight)[:, None])
        made.append((out - basis @ (basis.T @ out)) / np.float32(np.sqrt(len(grid))))
    return Projection(first, last, basis, tuple(made))


def _project(values: Singles, worth: Bools, mhz: Reals) -> tuple[npt.NDArray[np.int8], Bools]:
    """Codes (n, 12, 64) int8 and presence (n, 12) of the records' segments."""
    n = len(values)
    total = np.zeros((n, SEGMENTS, BITS), dtype=np.float32)
    there = np.zeros((n, SEGMENTS), dtype=bool)
    place = np.array([int(np.sum(GROUP_OF[:k] == g)) for k, g in enumerate(GROUP_OF)])
    for band in range(len(BANDS)):
        projection = _projection(band, mhz)
        if projection is None:
            continue
        inside = values[:, :, projection.first : projection.last]
        smooth = np.einsum("nkm,mt->nkt", inside, projection.basis, optimize=True)
        power = np.einsum("nkm,nkm->nk", inside, inside) - np.einsum("nkt,nkt->nk", smooth, smooth)
        size = np.sqrt(np.maximum(power / inside.shape[-1], 0))
        good = worth & (size > 0.1)
        factor = np.where(good, 1 / np.maximum(size, 0.1), 0).astype(np.float32)
        for k, group in enumerate(GROUP_OF):
            segment = group * len(BANDS) + band
            total[:, segment] += factor[:, k, None] * (inside[:, k] @ projection.functions[place[k]])
            there[:, segment] |= good[:, k]
    length = np.sqrt(np.mean(total**2, axis=-1, keepdims=True))
    codes = np.clip(np.rint(total / np.maximum(length, 1e-9) * SCALE), -127, 127).astype(np.int8)
    return codes, there


def _signs(codes: npt.NDArray[np.int8]) -> Bits:
    """Signs as bits, (n, 4, 3) uint64."""
    packed = np.packbits(codes >= 0, axis=-1)
    return packed.view(np.uint64).reshape(len(codes), len(GROUPS), len(BANDS))
