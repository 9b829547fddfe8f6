"""The limit at single points: a line at a frequency, or a scalar."""

from __future__ import annotations

import numpy as np

from archive.grading.arithmetic import EXACT, Ints, Reals
from archive.grading.graded_columns import confidence_codes
from archive.limits import Limit


def at_points(limit: Limit, parameter: str, frequency: Reals, value: Reals) -> tuple[Reals, Ints]:
    """Limit and its confidence (code) at points, each (n,).

    frequency: MHz, NaN where not stated. A scalar counts at its own frequency and where none is stated, the line
    elsewhere. NaN where neither says anything. value: a length above the scalar rests on its tolerance, which is known
    only from memory (reference 1.4).
    """
    scalar, line = limit.scalars.get(parameter), limit.lines.get(parameter)
    bar, confidence = np.full(frequency.shape, np.nan), np.zeros(frequency.shape, np.int64)
    if scalar is not None:
        bar[:] = scalar.value * (1 + scalar.tolerance_percent / 100)
        confidence[:] = confidence_codes(scalar.confidence)
        if scalar.tolerance_confidence:
            confidence[value > scalar.value + EXACT] = confidence_codes(scalar.tolerance_confidence)
    at_mhz = np.nan if scalar is None or scalar.at_mhz is None else scalar.at_mhz
    if line is not None and (scalar is None or not np.isnan(at_mhz)):
        elsewhere = np.flatnonzero(~np.isnan(frequency) & (frequency != at_mhz))
        by_line = line.at(frequency[elsewhere])
        elsewhere, by_line = elsewhere[~np.isnan(by_line)], by_line[~np.isnan(by_line)]
        bar[elsewhere] = by_line
        confidence[elsewhere] = confidence_codes(line.confidence_at(frequency[elsewhere]))
    return bar, confidence


def is_single_number(limit: Limit, parameter: str) -> bool:
    """False where the scalar of a parameter needs more than one reading: an alternative, or two pairs together."""
    scalar = limit.scalars.get(parameter)
    return scalar is None or (scalar.greater_of is None and scalar.per != "pairset")
