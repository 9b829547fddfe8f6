"""Decision rules: what a verdict says of the uncertainty of its measurement, and how likely it is wrong for that.

The probability is that of a normal distribution around the measured value, with the standard uncertainty U / k: the
part of it that lies beyond the limit (JCGM 106:2012, specific risk). It is stated only where somebody states U and k.
"""

from __future__ import annotations

import math

import numpy as np

from archive import vocabulary
from archive.grading.accuracy import Accuracy
from archive.grading.arithmetic import Bools, Reals
from archive.grading.grade_rows import Judged
from archive.grading.graded_columns import FAIL, NOT_GRADED, PASS, GradedColumns, LimitNotes
from archive.grading.judgement import RecordVerdicts

NOT_STATED = "simple acceptance; uncertainty not stated"
_erfc = np.vectorize(math.erfc, otypes=[np.float64])


def withhold_near_limits(
    graded: GradedColumns, notes: LimitNotes, records: RecordVerdicts, accuracy: Accuracy | None
) -> dict[int, str]:
    """Guarded acceptance: no pass where a margin lies within the guard band. Returns the reasons, by record."""
    if accuracy is None or not accuracy.guard_band:
        return {}
    band, known = _known(graded, notes, accuracy)
    near = known & (graded.margin < accuracy.guard_band * band)
    near &= records.verdict[graded.record] == PASS
    found: dict[int, list[str]] = {}
    for record, parameter in dict.fromkeys(
        zip(graded.record[near].tolist(), graded.parameter[near].tolist(), strict=True)
    ):
        found.setdefault(record, []).append(vocabulary.parameter(notes.names[parameter]).name)
    records.verdict[list(found)] = NOT_GRADED
    return {record: f"guarded acceptance: {', '.join(names)} within the guard band" for record, names in found.items()}


def statements(judged: Judged, accuracy: Accuracy | None) -> tuple[list[str | None], Reals]:
    """Per record of the batch: the decision rule with what is known of the uncertainty, null where nothing was decided;
    and the probability that the verdict is wrong (0 to 1), NaN where it is not known.

    A pass is wrong where any value is beyond its limit: the probability is the largest of its worst margins. A fail is
    wrong where no failing value is: the smallest of them.
    """
    verdict = judged.records.verdict
    decided = (verdict == PASS) | (verdict == FAIL)
    wrong = np.full(len(verdict), np.nan)
    if accuracy is None:
        return [NOT_STATED if yes else None for yes in decided.tolist()], wrong
    rule, k = "simple acceptance", accuracy.coverage_factor
    if accuracy.guard_band:
        rule = f"guarded acceptance, guard band {accuracy.guard_band:g} times the accuracy"
    if k is not None:
        wrong = _wrong(judged, accuracy, k)
    how = f"{rule}; {accuracy.basis}" + (f" (k = {k:g})" if k is not None else ", without a coverage factor")
    how += _unstated(judged, accuracy)
    words = {PASS: "false accept", FAIL: "false reject"}
    return [
        None
        if not decided[r]
        else f"{how}; {_percent(wrong[r])} probability of a {words[verdict[r]]} at the most critical worst margin"
        if not np.isnan(wrong[r])
        else f"{how}; no probability"
        for r in range(len(verdict))
    ], wrong


def _known(graded: GradedColumns, notes: LimitNotes, accuracy: Accuracy) -> tuple[Reals, Bools]:
    """Accuracy of each graded curve or number, and where it is known and matters, each (n,)."""
    band = accuracy.at(graded.parameter, notes.names, graded.frequency)
    return band, graded.decides & ~np.isnan(band) & ~np.isnan(graded.margin)


def _wrong(judged: Judged, accuracy: Accuracy, k: float) -> Reals:
    graded, verdict = judged.graded, judged.records.verdict
    band, known = _known(graded, judged.notes, accuracy)
    out = np.full(len(verdict), np.nan)
    with np.errstate(divide="ignore", invalid="ignore"):
        beyond = 0.5 * _erfc(np.nan_to_num(graded.margin * k / (band * math.sqrt(2.0)), nan=0.0))
    passing = known & (verdict[graded.record] == PASS)
    np.fmax.at(out, graded.record[passing], beyond[passing])
    failing = known & (verdict[graded.record] == FAIL) & (graded.verdict == FAIL)
    np.fmin.at(out, graded.record[failing], 1.0 - beyond[failing])
    return out


def _unstated(judged: Judged, accuracy: Accuracy) -> str:
    """Deciding parameters of which the file says nothing."""
    graded = judged.graded
    names = [judged.notes.names[place] for place in np.unique(graded.parameter[graded.decides]).tolist()]
    listed = ", ".join(vocabulary.parameter(name).name for name in names if name not in accuracy.by_parameter)
    return f", not stated for {listed}" if listed else ""


def _percent(share: float) -> str:
    return "less than 0.01 %" if share < 1e-4 else f"{100 * share:.2g} %"
