"""The decimal step of curves: 0.1 where every point is a whole number of tenths."""

from __future__ import annotations

from typing import Any

import numpy as np

_MOST = 6
_BLOCK = 32768


def curve_steps(values: Any, starts: Any, stops: Any, guess: int = 1) -> Any:
    """For each curve values[start:stop] the coarsest decimal step that all its points are multiples of.

    float64; NaN where none down to 1e-6 is, or where a curve has no point. NaN points count as none.
    guess: decimals that are tried first for all curves at once.
    """
    out = np.full(len(starts), np.nan)
    open_ = np.arange(len(starts))[stops > starts]
    if len(open_) and _all(values, guess):
        finer = open_[_curves_fit(values, starts, stops, open_, guess - 1)] if guess else open_[:0]
        out[open_] = _step(guess)
        level = guess - 1
        while len(finer):
            out[finer] = _step(level)
            level -= 1
            finer = finer[_curves_fit(values, starts, stops, finer, level)] if level >= 0 else finer[:0]
        return out
    for level in range(_MOST + 1):
        fits = _curves_fit(values, starts, stops, open_, level)
        out[open_[fits]] = _step(level)
        open_ = open_[~fits]
        if not len(open_):
            break
    return out


def _step(level: int) -> float:
    return float(f"1e-{level}") if level else 1.0


def _curves_fit(values: Any, starts: Any, stops: Any, which: Any, level: int) -> Any:
    """Boolean array over `which`: all points of the curve are multiples of the step. A few points are tried first."""
    few = np.minimum(starts[which][:, None] + np.arange(8), stops[which][:, None] - 1)
    fits = _fit(values[few], level).all(axis=1) if len(which) else np.zeros(0, dtype=bool)
    for i in np.flatnonzero(fits).tolist():
        fits[i] = _all(values[starts[which[i]] : stops[which[i]]], level)
    return fits


def _all(values: Any, level: int) -> bool:
    return all(bool(_fit(values[at : at + _BLOCK], level).all()) for at in range(0, len(values), _BLOCK))


def _fit(block: Any, level: int) -> Any:
    power = 10.0**level
    scaled = block * power
    np.rint(scaled, out=scaled)
    scaled /= power
    same = scaled == block
    return same if same.all() else same | np.isnan(block)
