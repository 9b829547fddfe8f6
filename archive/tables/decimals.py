"""Decimals that numbers were written with, and their step: 0.1 where every point is a whole number of tenths."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from archive.tables.arrow import Bools, Ints, Reals

MOST_DECIMALS = 6
"""More are not looked for: no export rounds as finely, and a number that was computed needs all its digits."""

STEPS: Reals = np.array([float(f"1e-{d}") for d in range(MOST_DECIMALS + 1)] + [np.nan])
"""The step of 0 to MOST_DECIMALS decimals; the last, for the -1 of fewest_decimals, is NaN."""

_BLOCK = 1 << 15
"""Points that are looked at together, so that they stay in the processor's cache."""
_PROBES = 8
"""Points of each curve that are tried before all of them."""

Fits = Callable[[Reals, int], Bools]
"""Which numbers need no more than so many decimals: (...) of the same shape. Elementwise."""


def fits(values: Reals, decimals: int) -> Bools:
    """True where a number is, to the bit, a whole number divided by 10^decimals, and where it is NaN."""
    with np.errstate(over="ignore", invalid="ignore"):
        scaled = values * 10.0**decimals
        np.rint(scaled, out=scaled)
        scaled /= 10.0**decimals
    same: Bools = scaled == values
    return same if same.all() else same | np.isnan(values)


def fits_nearly(values: Reals, decimals: int) -> Bools:
    """The same within 1e-12, for numbers that may have been computed."""
    return np.asarray(~(np.abs(values - np.round(values, decimals)) > 1e-12))


def fewest_decimals(values: Reals, starts: Ints, stops: Ints, fits: Fits = fits) -> Ints:
    """For each curve values[start:stop] the fewest decimals that all its points fit: (curves,).

    -1 where MOST_DECIMALS are too few, or where a curve has no point.
    """
    found = np.full(len(starts), -1)
    left = np.flatnonzero(stops > starts)
    last = stops - starts - 1
    probes = min(_PROBES, int(last.max(initial=0)) + 1)
    share = np.arange(probes) / max(1, probes - 1)
    for decimals in range(MOST_DECIMALS + 1):
        some = starts[left, None] + (last[left, None] * share).astype(np.int64)
        likely = left[fits(values[some], decimals).all(axis=1)]
        if len(likely) and probes == _PROBES:
            likely = likely[_all_fit(values, starts[likely], stops[likely], decimals, fits)]
        found[likely] = decimals
        left = left[found[left] < 0]
        if not len(left):
            break
    return found


def decimal_steps(values: Reals) -> Reals:
    """The step of each number by itself, as it would be printed: 0.1 for 35.4, 1 for 35; NaN where there is none."""
    at = np.arange(len(values))
    return np.where(np.isfinite(values), STEPS[fewest_decimals(values, at, at + 1)], np.nan)


def _all_fit(values: Reals, starts: Ints, stops: Ints, decimals: int, fits: Fits) -> Bools:
    """Do all points of each curve fit: (curves,)."""
    if 2 * int((stops - starts).sum()) < len(values):
        ranges = zip(starts.tolist(), stops.tolist(), strict=True)
        return np.array([bool(fits(values[start:stop], decimals).all()) for start, stop in ranges], np.bool_)
    good = np.concatenate([fits(values[at : at + _BLOCK], decimals) for at in range(0, len(values), _BLOCK)])
    if good.all():
        return np.ones(len(starts), np.bool_)
    misses = np.concatenate(([0], np.cumsum(~good, dtype=np.int64)))
    return np.asarray(misses[starts] == misses[stops])
