"""What a limit needs and what a sweep reaches: range, grid, holes, pairs, combinations, ends."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from archive import schemas, vocabulary
from archive.grading.arithmetic import Ints
from archive.grading.graded_columns import NOT_THERE
from archive.limits.field import widest_step_mhz

SAME = 1e-9
"""Relative difference below which two frequencies are the same."""

_ROUNDING = 1e-6
"""Relative difference below which two steps are the same: frequencies are often written in kHz."""


_GAP = "gap "


@cache
def rules() -> dict[str, Any]:
    """The conventions of schemas/grading.toml."""
    return schemas.load("grading.toml")


@dataclass(frozen=True)
class Reach:
    """What a grid reaches of the range low to high that a line needs, MHz.

    first, last: the frequencies it covers. gap: why that is too little for a verdict, or empty. coarse: the largest gap
    where steps are wider than field-test standards allow but still give a verdict, or empty.
    """

    first: float
    last: float
    gap: str = ""
    coarse: str = ""

    @property
    def whole(self) -> bool:
        return not self.gap


def reach(frequencies: ArrayLike, low: float, high: float) -> Reach:
    """What a grid reaches of a range.

    frequencies: (points,), MHz, rising. An end may be missed by the step that field-test standards allow there; there
    is no interpolation and no extrapolation. Gaps between points: schemas/grading.toml, gap.
    """
    f = np.asarray(frequencies, np.float64)
    f = f[(f >= low * (1 - SAME)) & (f <= high * (1 + SAME))]
    if not len(f):
        return Reach(np.nan, np.nan, f"no point between {low:g} and {high:g} MHz")
    first, last = float(f[0]), float(f[-1])
    missed = np.array([first - low, high - last])
    if (missed > widest_step_mhz([low, high]) * (1 + _ROUNDING)).any():
        return Reach(first, last, f"covers {first:g}-{last:g} of {low:g}-{high:g} MHz")
    steps, allowed = np.diff(f), widest_step_mhz(f[1:])
    gap = rules()["gap"]
    share = max(gap["widest_share_of_range"] * (high - low), gap["always_enough_mhz"])
    widest = np.minimum(gap["widest_in_steps"] * allowed, share)
    for limit, name in ((widest, "gap"), (allowed, "coarse")):
        over = np.where(steps > limit * (1 + _ROUNDING), steps, 0.0)
        if over.any():
            at = int(over.argmax())
            between = f"{f[at]:g}-{f[at + 1]:g} MHz"
            found = {
                "gap": f"{_GAP}{between}",
                "coarse": f"largest gap {between}, field tests step {allowed[at]:g} MHz",
            }
            return Reach(first, last, **{name: found[name]})
    return Reach(first, last)


def shared_reach(frequencies: ArrayLike, parts: Sequence[ArrayLike], low: float, high: float) -> Reach:
    """What points that several grids share reach of a range.

    What is derived from curves of several grids is known where all of them have a point. Where each of them leaves no
    gap, one between the shared points is no gap in what was measured: it makes a pass provisional.
    """
    found = reach(frequencies, low, high)
    if found.gap.startswith(_GAP) and parts and all(reach(part, low, high).whole for part in parts):
        between = found.gap.removeprefix(_GAP)
        return Reach(found.first, found.last, coarse=f"largest gap {between} between the points that its parts share")
    return found


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
        return NOT_THERE
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
