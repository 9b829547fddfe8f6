"""Grades readings (delay, skew, resistances, length) against the single numbers of a limit."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from archive.grading.arithmetic import EXACT, Bools, Ints, Reals
from archive.grading.graded_columns import (
    CONFIDENCES,
    FAIL,
    NOT_GRADED,
    PASS,
    WORST_MARGIN,
    WORST_VALUE,
    GradedColumns,
    TextCodes,
)
from archive.grading.reading_arrays import ReadingArrays, ScalarReadings

_MEMORY = CONFIDENCES.index("C")
READ_BY_LINE = frozenset({"propagation_delay"})
"""Parameters that are read at one frequency though their limit is a line."""


def order(limit: Any) -> list[str]:
    """Parameters of a limit in the order in which grades list them: lines, then scalars that are no line."""
    return [*limit.lines, *(name for name in limit.scalars if name not in limit.lines)]


def grade_scalars(
    limit: Any, wanted: Bools, found: ScalarReadings, texts: TextCodes, pairings: TextCodes
) -> list[GradedColumns]:
    """Graded readings against the scalars of a limit, and delays against its line where it has no single number.

    wanted: a flag per record of the batch.
    """
    pieces = []
    names = np.array([pairings.code(name) for name in found.subjects] + [-1])
    for number, parameter in enumerate(order(limit)):
        scalar = limit.scalars.get(parameter)
        if scalar is None and parameter not in READ_BY_LINE:
            continue
        if scalar is not None and scalar.per == "pairset":
            several = [found.pairsets(parameter)]
        else:
            several = [found.best.get(parameter), found.rest(parameter)]
        for readings in several:
            if readings is None:
                continue
            readings = readings.take(wanted[readings.record] & _looked_at(limit, readings, found))
            if len(readings):
                bars = _bars(limit, parameter, readings, found)
                pieces.append(_piece(bars, readings, number, names, texts))
    return pieces


def _looked_at(limit: Any, readings: ReadingArrays, found: ScalarReadings) -> Bools:
    """Which readings are of pairs that the limit needs."""
    if not limit.pairs:
        return np.ones(len(readings), np.bool_)
    inside = [not name or "-" not in name or set(name.split("/")) <= set(limit.pairs) for name in found.subjects]
    return np.array([*inside, True])[readings.subject]


@dataclass
class _Bars:
    """The limit of each reading (n,), its confidence, whether it is a maximum; unsure: a reading that misses it may
    meet an alternative that cannot be looked at; sure: the limit that it misses for certain (bar, unless the frequency
    of the reading is not said)."""

    bar: Reals
    confidence: Ints
    maximum: bool
    unit: str
    decides: bool
    unsure: Bools
    sure: Reals


def _bars(limit: Any, parameter: str, readings: ReadingArrays, found: ScalarReadings) -> _Bars:
    scalar, line = limit.scalars.get(parameter), limit.lines.get(parameter)
    part = scalar if scalar is not None else line
    count, f = len(readings), readings.frequency
    bar, confidence = np.full(count, np.nan), np.zeros(count, np.int64)
    if scalar is not None:
        bar[:] = float(scalar.value) * (1 + scalar.tolerance_percent / 100)
        confidence[:] = CONFIDENCES.index(scalar.confidence)
        # The tolerance on a length is known only from memory (reference 1.4).
        confidence[readings.value > scalar.value + EXACT if scalar.tolerance_percent else []] = _MEMORY
    at = np.nan if scalar is None else scalar.at_mhz
    if line is not None and (scalar is None or at is not None):
        # A delay that was read at another frequency than the one number holds for is graded by the line.
        elsewhere = np.flatnonzero(~np.isnan(f) & (f != at))
        by_line = np.asarray(line.at(f[elsewhere]))
        elsewhere, by_line = elsewhere[~np.isnan(by_line)], by_line[~np.isnan(by_line)]
        bar[elsewhere] = by_line
        confidence[elsewhere] = [CONFIDENCES.index(str(x)) for x in line.confidence_at(f[elsewhere])]
    sure = bar.copy()
    if (nowhere := np.isnan(bar)).any():
        over = line.at(line.grid())
        strict, lenient = (over.min(), over.max()) if line.sense == "max" else (over.max(), over.min())
        bar[nowhere], sure[nowhere], confidence[nowhere] = strict, lenient, CONFIDENCES.index(line.confidence)
    unsure = np.zeros(count, np.bool_)
    if scalar is not None and scalar.greater_of is not None:
        unbounded = bar
        bar, unsure = _either(scalar, readings, found, bar)
        sure = bar
        by_alternative = (bar > unbounded) & (readings.value > unbounded + EXACT)
        confidence = np.where(by_alternative, CONFIDENCES.index(scalar.greater_of.confidence), confidence)
    return _Bars(bar, confidence, part.sense == "max", part.unit, part.role != "information", unsure, sure)


def _piece(bars: _Bars, readings: ReadingArrays, number: int, names: Any, texts: TextCodes) -> GradedColumns:
    count = len(readings)
    reason = np.full(count, -1)
    margin = bars.bar - readings.value if bars.maximum else readings.value - bars.bar
    misses = margin < -EXACT
    fails = (bars.sure - readings.value if bars.maximum else readings.value - bars.sure) < -EXACT
    # Known only as more than a value: above a maximum it fails, below it nothing is sure. Less than: the reverse.
    helps = readings.bound == (-1 if bars.maximum else 1)
    bound = (readings.bound != 0) & (helps == misses)
    open_ = bound | (misses & (bars.unsure | ~fails))
    for i in np.flatnonzero(open_):
        only = f"known only as {'more' if readings.bound[i] > 0 else 'less'} than {readings.value[i]:g} {bars.unit}"
        other = "the alternative limit needs a resistance that is not there"
        reason[i] = texts.code(only if bound[i] else other if bars.unsure[i] else "the frequency is not said")
    point = (readings.frequency, readings.value, bars.bar, margin)
    return GradedColumns(
        readings.record,
        np.full(count, number),
        readings.end,
        names[readings.subject],
        *point,
        *point,
        np.where(open_, NOT_GRADED, np.where(misses, FAIL, PASS)),
        reason,
        bars.confidence,
        bars.confidence == _MEMORY,
        readings.resolution,
        np.full(count, readings.derived),
        np.full(count, bars.decides),
        np.full(count, WORST_MARGIN + WORST_VALUE),
    )


def _either(scalar: Any, readings: ReadingArrays, found: ScalarReadings, bar: Reals) -> tuple[Reals, Bools]:
    """ "3 % or 200 milliohm, whichever is greater": the second as a percentage of this pair's own resistance.

    The percentage is 100 D / S, D the difference and S the sum; so D <= d is the percentage <= 100 d / S, and S is
    the loop resistance of the pair, the sum of its conductors, or 100 D / percentage.
    Returns the limit per reading, and where the alternative could not be looked at.
    """
    other, value = scalar.greater_of.quantity, scalar.greater_of.value
    subjects = found.subjects
    total = found.table("loop_resistance", subjects)[0]
    contacts = [pair.split("-") if "-" in pair and "/" not in pair else ["", ""] for pair in subjects]
    one, two = (found.table("conductor_resistance", [c[i] for c in contacts])[0] for i in (0, 1))
    difference = found.table(other, subjects)[0]
    at = readings.record, readings.subject
    with np.errstate(invalid="ignore", divide="ignore"):
        by_difference = np.where(readings.value > 0, 100 * difference[at] / readings.value, np.nan)
    s = total[at]
    for fallback in ((one + two)[at], by_difference):
        s = np.where(np.isnan(s) | (s <= 0), fallback, s)
    known = ~np.isnan(s) & (s > 0) & (readings.subject >= 0)
    return np.where(known, np.maximum(bar, 100 * value / np.where(known, s, 1.0)), bar), ~known
