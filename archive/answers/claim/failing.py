"""Where the curves of a failing parameter fail: which points, counted, and from where to where."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from archive import vocabulary
from archive.answers.claim import left_out
from archive.answers.plots import PlotCurve
from archive.answers.wording import Wording
from archive.grading.arithmetic import EXACT

Array = NDArray[np.float64]
Bools = NDArray[np.bool_]
Line = Callable[[str, Array], Array | None]
"""Limit line: parameter id and MHz in, limit out (NaN outside its range), or None where there is none."""
Grades = Sequence[Mapping[str, Any]]


def margins(parameter: str, curve: PlotCurve, line: Line) -> Array:
    """Distance of each point of a curve to its limit, dB; below zero it fails. NaN where there is no limit."""
    limit = line(parameter, curve.x)
    if limit is None:
        return np.full(len(curve.x), np.nan)
    maximum = vocabulary.parameter(parameter).sense == "max"
    return np.asarray(limit - curve.y if maximum else curve.y - limit)


def failing(parameter: str, end: str | None, curve: PlotCurve, grades: Grades, line: Line) -> Bools:
    """Points of a curve that fail, shape (n,). None does where its verdict is another; what is left out never does."""
    rows = [g for g in grades if g["parameter"] == parameter and g["end"] == end and g["kind"] != "overall"]
    mine = [g for g in rows if (g["pairing"] or parameter) == curve.label]
    if not any(g["verdict"] == "fail" for g in mine):
        return np.zeros(len(curve.x), np.bool_)
    bad = np.nan_to_num(margins(parameter, curve, line), nan=0.0) < -EXACT
    stretch = left_out.stretch(parameter, end, [curve], mine)
    if stretch is not None:
        bad &= ~((curve.x >= stretch.some[0]) & (curve.x <= stretch.some[1]))
    return bad


def runs(x: Array, bad: Bools) -> Iterator[tuple[float, float]]:
    """Stretches of failing points, as first and last x."""
    edges = np.flatnonzero(np.diff(np.r_[False, bad, False]))
    for first, after in zip(edges[::2].tolist(), edges[1::2].tolist(), strict=True):
        yield float(x[first]), float(x[after - 1])


def stretches(
    parameter: str, end: str | None, curves: Sequence[PlotCurve], grades: Grades, line: Line
) -> tuple[tuple[float, float], ...]:
    """Where any of the curves of one end fails, in order."""
    found = sorted(run for c in curves for run in runs(c.x, failing(parameter, end, c, grades, line)))
    joined: list[tuple[float, float]] = []
    for low, high in found:
        if joined and low <= joined[-1][1]:
            joined[-1] = joined[-1][0], max(high, joined[-1][1])
        else:
            joined.append((low, high))
    return tuple(joined)


def sentence(
    parameter: str, by_end: Mapping[str | None, Sequence[PlotCurve]], grades: Grades, line: Line, words: Wording
) -> str:
    """How many frequencies fail, from where to where, on which curves; empty where none does."""
    bad: set[float] = set()
    judged: set[float] = set()
    named = []
    for end, curves in by_end.items():
        for c in curves:
            fails = failing(parameter, end, c, grades, line)
            judged.update(c.x[np.isfinite(margins(parameter, c, line))].tolist())
            if fails.any():
                bad.update(c.x[fails].tolist())
                named.append(" ".join(x for x in (c.label, words.end(end)) if x))
    if not bad:
        return ""
    return words(
        "Fails at {count} of {all} frequencies, from {low} to {high} MHz: {curves}.",
        count=words.number(len(bad), 0),
        all=words.number(len(judged), 0),
        low=words.free(min(bad)),
        high=words.free(max(bad)),
        curves=words.some(named, 6),
    )
