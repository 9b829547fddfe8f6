"""What a limit needs and what a sweep reaches: range, grid, holes, pairs, combinations, ends."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from archive import schemas, vocabulary
from archive.grading.arithmetic import Ints, Reals

SAME = 1e-9
"""Relative difference below which two frequencies are the same."""


@cache
def rules() -> dict[str, Any]:
    """The conventions of schemas/grading.toml."""
    return schemas.load("grading.toml")


@dataclass(frozen=True)
class Reach:
    """What a grid reaches of the range low to high that a line needs, MHz; gap: why it is not all, or empty."""

    low: float
    high: float
    first: float
    last: float
    gap: str

    @property
    def whole(self) -> bool:
        return not self.gap


def reach(frequencies: ArrayLike, low: float, high: float) -> Reach:
    """What a grid reaches of a range.

    frequencies: (points,), MHz, rising. A grid that begins or ends within one of its own steps of the range reaches
    it; there is no interpolation and no extrapolation at the edges. A hole is a step that is much wider than the
    steps beside it, or than a share of the range (schemas/grading.toml, grid).
    """
    f = np.asarray(frequencies, np.float64)
    f = f[(f >= low * (1 - SAME)) & (f <= high * (1 + SAME))]
    if not len(f):
        return Reach(low, high, np.nan, np.nan, f"no point between {low:g} and {high:g} MHz")
    steps = np.diff(f)
    first, last = float(f[0]), float(f[-1])
    short_low = first - low > (steps[0] if len(steps) else 0.0) + SAME * high
    short_high = high - last > (steps[-1] if len(steps) else 0.0) + SAME * high
    if short_low or short_high:
        return Reach(low, high, first, last, f"covers {first:g}-{last:g} of {low:g}-{high:g} MHz")
    hole = _hole(steps, high - low)
    if hole is not None:
        return Reach(low, high, first, last, f"no point between {f[hole]:g} and {f[hole + 1]:g} MHz")
    return Reach(low, high, first, last, "")


def _hole(steps: Reals, width: float) -> int | None:
    """The first step that is a hole, or None."""
    grid = rules()["grid"]
    if not len(steps):
        return None
    wide = steps > grid["widest_share_of_range"] * width
    if len(steps) > 1:
        beside = np.maximum(np.append(0.0, steps[:-1]), np.append(steps[1:], 0.0))
        wide |= steps > grid["hole_against_steps_beside"] * beside
    found = np.flatnonzero(wide)
    return int(found[0]) if len(found) else None


def needed(parameter: str, pairs: tuple[str, ...]) -> tuple[list[int], list[str]]:
    """Ends (codes) and pairings that a parameter needs. pairs: those that a limit needs; empty for all four."""
    meant = vocabulary.parameter(parameter)
    ends = [0, 1] if meant.ends else [2]
    names = [p for p in vocabulary.pairings(meant.per) if not pairs or set(p.split("/")) <= set(pairs)]
    return ends, names


def what_is_missing(parameter: str, pairs: tuple[str, ...], there: set[tuple[int, str | None]]) -> str:
    """Why the curves of a parameter are too few, or empty. there: (end code, pairing) of each curve.

    A parameter that is not taken per end needs each pairing once, at any end.
    """
    ends, names = needed(parameter, pairs)
    meant = vocabulary.parameter(parameter)
    if not there:
        return "not there"
    if not names:
        names_there = {end for end, _ in there} & set(ends) if meant.ends else {2}
        return "" if len(names_there) == len(ends) else f"covers {len(names_there)} of {len(ends)} ends"
    what = {"pair": "pairs", "combination": "combinations", "ordered": "combinations"}[meant.per]
    if not meant.ends:
        some = {pairing for _, pairing in there} & set(names)
        return "" if len(some) == len(names) else f"covers {len(some)} of {len(names)} {what}"
    counts = [len({p for e, p in there if e == end} & set(names)) for end in ends]
    if min(counts) == len(names):
        return ""
    if sum(counts) == 0:
        return "the end at which it was taken is not said"
    if 0 in counts and max(counts) == len(names):
        return f"covers 1 of 2 ends ({vocabulary.ENDS[int(np.argmax(counts))]})"
    if counts[0] == counts[1]:
        return f"covers {counts[0]} of {len(names)} {what}"
    by_end = " and ".join(f"{n} {vocabulary.ENDS[end]}" for end, n in enumerate(counts))
    return f"covers {by_end} of {len(names)} {what}"


def kept(pairings: Ints, names: tuple[str | None, ...], pairs: tuple[str, ...]) -> Ints:
    """Places of the pairings that a limit looks at. pairings: codes; pairs: empty for all four."""
    if not pairs:
        return np.arange(len(pairings))
    return np.array(
        [i for i, code in enumerate(pairings) if names[code] is None or set(str(names[code]).split("/")) <= set(pairs)],
        np.int64,
    )
