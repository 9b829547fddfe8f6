"""Grades readings (delay, skew, resistances, length) against the single numbers of a limit."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from archive.grading import limit_values
from archive.grading.arithmetic import EXACT, Bools, Ints, Reals
from archive.grading.graded_columns import (
    DOUBT_MEMORY,
    FAIL,
    FROM_MEMORY,
    NOT_GRADED,
    PASS,
    WORST_MARGIN,
    WORST_VALUE,
    GradedColumns,
    LimitNotes,
    TextCodes,
    confidence_codes,
)
from archive.grading.reading_arrays import ReadingArrays, ScalarReadings
from archive.limits import Limit, Scalar

READ_BY_LINE = frozenset({"propagation_delay"})
"""Parameters that are read at one frequency though their limit is a line."""


def grade_scalars(limit: Limit, wanted: Bools, found: ScalarReadings, notes: LimitNotes) -> list[GradedColumns]:
    """Graded readings against the scalars of a limit, and delays against its line where it has no single number.

    wanted: a flag per record of the batch.
    """
    graded = []
    names = np.array([notes.pairings.code(name) for name in found.subjects] + [-1])
    for number, parameter in enumerate(notes.names):
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
            readings = readings.take(wanted[readings.record] & _of_needed_pairs(limit, readings, found))
            if len(readings):
                bars = _bars(limit, parameter, readings, found)
                graded.append(_graded(bars, readings, number, names, notes.texts))
    return graded


def _of_needed_pairs(limit: Limit, readings: ReadingArrays, found: ScalarReadings) -> Bools:
    """Which readings are of pairs that the limit needs."""
    if not limit.pairs:
        return np.ones(len(readings), np.bool_)
    inside = [not name or "-" not in name or set(name.split("/")) <= set(limit.pairs) for name in found.subjects]
    return np.array([*inside, True])[readings.subject]


@dataclass
class _Bars:
    """The limit of each reading (n,), its confidence, and whether it is a maximum.

    unsure: a reading that misses it may meet an alternative that cannot be looked at. sure: the limit that a failing
    reading misses for certain (bar, unless the frequency of the reading is not stated).
    """

    bar: Reals
    confidence: Ints
    maximum: bool
    unit: str
    decides: bool
    unsure: Bools
    sure: Reals


def _bars(limit: Limit, parameter: str, readings: ReadingArrays, found: ScalarReadings) -> _Bars:
    scalar, line = limit.scalars.get(parameter), limit.lines.get(parameter)
    part = scalar if scalar is not None else limit.lines[parameter]
    bar, confidence = limit_values.at_points(limit, parameter, readings.frequency, readings.value)
    sure, unsure = bar.copy(), np.zeros(len(readings), np.bool_)
    if line is not None and (nowhere := np.isnan(bar)).any():
        over = line.at(line.grid())
        strict, lenient = (over.min(), over.max()) if line.sense == "max" else (over.max(), over.min())
        bar[nowhere], sure[nowhere], confidence[nowhere] = strict, lenient, confidence_codes(line.confidence)
    if scalar is not None and scalar.greater_of is not None:
        percentage = bar
        bar, unsure = _either(scalar, readings, found, percentage)
        sure = bar
        by_alternative = (bar > percentage) & (readings.value > percentage + EXACT)
        confidence = np.where(by_alternative, confidence_codes(scalar.greater_of.confidence), confidence)
    return _Bars(bar, confidence, part.sense == "max", part.unit, part.decides, unsure, sure)


def _graded(bars: _Bars, readings: ReadingArrays, number: int, names: Ints, texts: TextCodes) -> GradedColumns:
    reason = np.full(len(readings), -1)
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
    return GradedColumns.of(
        (len(readings),),
        point,
        point,
        record=readings.record,
        parameter=number,
        end=readings.end,
        pairing=names[readings.subject],
        verdict=np.where(open_, NOT_GRADED, np.where(misses, FAIL, PASS)),
        reason=reason,
        confidence=bars.confidence,
        doubts=np.where(bars.confidence == FROM_MEMORY, DOUBT_MEMORY, 0),
        resolution=readings.resolution,
        derived=readings.derived,
        decides=bars.decides,
        kinds=WORST_MARGIN + WORST_VALUE,
    )


def _either(scalar: Scalar, readings: ReadingArrays, found: ScalarReadings, bar: Reals) -> tuple[Reals, Bools]:
    """ "3 % or 200 milliohm, whichever is greater": the second as a percentage of this pair's own resistance.

    The percentage is 100 D / S, D the difference and S the sum; so D <= d is the percentage <= 100 d / S, and S is
    the loop resistance of the pair, the sum of its conductors, or 100 D / percentage.
    Returns the limit per reading, and where the alternative could not be looked at.
    """
    assert scalar.greater_of is not None
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
