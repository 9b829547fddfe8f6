"""Scales of an axis and the round numbers that stand at it."""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

ROOT, LOG, LINEAR = "root", "log", "linear"
"""root: even steps of the square root. Loss of a pair grows about as the root of the frequency, so insertion loss
comes out nearly straight, and neither the lowest decade nor the crowded top of the band takes the whole width."""

_TURNED: dict[str, Callable[[Array], Array]] = {ROOT: np.sqrt, LOG: np.log, LINEAR: np.asarray}


def usable(scale: str, low: float) -> str:
    """The scale, or the linear one where values are too low for it."""
    return LINEAR if (scale == LOG and low <= 0) or (scale == ROOT and low < 0) else scale


def turned(scale: str, values: Array) -> Array:
    """Values as even steps along an axis of that scale."""
    return _TURNED[scale](np.asarray(values, dtype=float))


def ticks(scale: str, low: float, high: float) -> list[float]:
    """Round numbers between two values, far enough apart on the scale to be read."""
    if scale == LOG:
        return _log(low, high)
    if scale == ROOT:
        return _root(low, high)
    return [t for t in even(low, high, 6) if low * 0.999 <= t <= high * 1.001 or low <= t <= high]


def even(low: float, high: float, about: int) -> list[float]:
    """Round numbers in even steps, from at or below low to at or above high."""
    if high - low <= 1e-6 * max(1.0, abs(low), abs(high)):  # one value, and the noise of arithmetic
        low, high = low - 1, high + 1
    raw = (high - low) / about
    power = 10.0 ** math.floor(math.log10(raw))
    step = next(m * power for m in (1, 2, 5, 10) if m * power >= raw)
    first, last = math.floor(low / step + 1e-9), math.ceil(high / step - 1e-9)
    return [round(k * step, 10) for k in range(first, last + 1)]


def _log(low: float, high: float) -> list[float]:
    """1, 2, 5 of every decade; the decades alone where there are many."""
    digits = (1, 2, 5) if high / low < 2e4 else (1,)
    decades = range(math.floor(math.log10(low)), math.ceil(math.log10(high)) + 1)
    found = [d * 10.0**p for p in decades for d in digits]
    return [round(t, 10) for t in found if low * 0.999 <= t <= high * 1.001]


def _root(low: float, high: float) -> list[float]:
    """Even steps where they are wide enough, and 1, 2, 5 of the decades below the first of them."""
    steps = [t for t in even(low, high, 5) if low <= t <= high and t > 0]
    smaller = [t for t in _log(max(low, high * 1e-4), high) if not steps or t < steps[0]] if high > 0 else []
    start = [low] if low > 0 else [0.0]
    # A twentieth of the width keeps the figures of two ticks apart.
    gap = (math.sqrt(high) - math.sqrt(low)) / 20
    kept: list[float] = []
    for t in (*steps[::-1], *start, *smaller[::-1]):
        if all(abs(math.sqrt(t) - math.sqrt(k)) >= gap for k in kept):
            kept.append(t)
    return sorted(kept)


_MEGAHERTZ = (0.1, 1, 2, 4, 10, 20, 31.25, 62.5, 100, 250, 500, 1000, 2000)


def megahertz(low: float, high: float) -> list[tuple[float, str]]:
    """Frequencies that people know between two, and these two, with their figures; for a logarithmic axis."""
    inner = [t for t in _MEGAHERTZ if low * 1.25 < t < high / 1.2]
    return [(t, f"{t:g}") for t in dict.fromkeys((low, *inner, high))]
