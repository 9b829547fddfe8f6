"""Decision rules: what a verdict says of the uncertainty of its measurement, and how likely it is wrong for that.

The probability is that of a normal distribution around the measured value, with the standard uncertainty U / k: the
part of it that lies beyond the limit (JCGM 106:2012, specific risk). It is stated only where somebody states U and k:
a file of the user's, or the record itself.
"""

from __future__ import annotations

import math

import numpy as np

from archive import vocabulary
from archive.grading.accuracy import Accuracy
from archive.grading.arithmetic import Bools, Ints, Reals
from archive.grading.grade_rows import Judged
from archive.grading.graded_columns import FAIL, NOT_GRADED, PASS, GradedColumns, LimitNotes
from archive.grading.judgement import RecordVerdicts
from archive.grading.uncertainty import Uncertainty
from archive.tables import Batch

NOT_STATED = "simple acceptance; uncertainty not stated"
BY_RECORD = "uncertainty as the record states it"
_erfc = np.vectorize(math.erfc, otypes=[np.float64])


def withhold_near_limits(
    graded: GradedColumns, notes: LimitNotes, records: RecordVerdicts, known: Uncertainty, guard_band: float
) -> dict[int, str]:
    """Guarded acceptance: no pass where a margin lies within the guard band. Returns the reasons, by record.

    guard_band: in multiples of the uncertainty; 0 for simple acceptance.
    """
    if not guard_band:
        return {}
    near = known.known & (graded.margin < guard_band * known.width)
    near &= records.verdict[graded.record] == PASS
    found: dict[int, list[str]] = {}
    for record, parameter in dict.fromkeys(
        zip(graded.record[near].tolist(), graded.parameter[near].tolist(), strict=True)
    ):
        found.setdefault(record, []).append(vocabulary.parameter(notes.names[parameter]).name)
    records.verdict[list(found)] = NOT_GRADED
    return {record: f"guarded acceptance: {', '.join(names)} within the guard band" for record, names in found.items()}


def statements(batch: Batch, judged: Judged, accuracy: Accuracy | None) -> tuple[list[str | None], Reals]:
    """Per record of the batch: the decision rule with what is known of the uncertainty, null where nothing was decided;
    and the probability that the verdict is wrong (0 to 1), NaN where it is not known.

    A pass is wrong where any value is beyond its limit: the probability is the largest of its worst margins. A fail is
    wrong where no failing value is: the smallest of them.
    """
    verdict = judged.records.verdict
    decided = (verdict == PASS) | (verdict == FAIL)
    wrong = _wrong(judged)
    usual = NOT_STATED if accuracy is None else _of_file(accuracy) + _unstated(judged, accuracy)
    bases = {} if accuracy is None else dict.fromkeys(np.flatnonzero(~accuracy.speaks_of(batch)).tolist(), NOT_STATED)
    bases |= _by_record(judged, accuracy)
    words = {PASS: "false accept", FAIL: "false reject"}
    out: list[str | None] = []
    for r, yes in enumerate(decided.tolist()):
        how = bases.get(r, usual)
        if not yes:
            out.append(None)
        elif how == NOT_STATED:
            out.append(how)
        elif np.isnan(wrong[r]):
            out.append(f"{how}; no probability")
        else:
            what = words[verdict[r]]
            out.append(f"{how}; {_percent(wrong[r])} probability of a {what} at the most critical worst margin")
    return out, wrong


def _rule(accuracy: Accuracy | None) -> str:
    if accuracy is None or not accuracy.guard_band:
        return "simple acceptance;"
    return f"guarded acceptance, guard band {accuracy.guard_band:g} times the accuracy;"


def _of_file(accuracy: Accuracy) -> str:
    return f"{_rule(accuracy)} {accuracy.basis}{_factor(accuracy.coverage_factor)}"


def _by_record(judged: Judged, accuracy: Accuracy | None) -> dict[int, str]:
    """By record that states an uncertainty itself: the decision rule, who states what, and what nobody states."""
    graded, known = judged.graded, judged.uncertainty
    own = np.flatnonzero(known.by_record)
    by_file = set(graded.record[known.known & ~known.by_record].tolist())
    factors = dict(zip(graded.record[own].tolist(), known.factor[own].tolist(), strict=True))
    silent = ~known.known & graded.decides & np.isin(graded.record, graded.record[own])
    unstated: dict[int, list[str]] = {}
    for record, parameter in _distinct(graded.record[silent], graded.parameter[silent]):
        unstated.setdefault(record, []).append(vocabulary.parameter(judged.notes.names[parameter]).name)
    out = {}
    for record, k in factors.items():
        rest = f", not stated for every value of {', '.join(unstated[record])}" if record in unstated else ""
        before = f"{_of_file(accuracy)}; beside it" if accuracy is not None and record in by_file else _rule(accuracy)
        out[record] = f"{before} {BY_RECORD}{_factor(None if math.isnan(k) else k)}{rest}"
    return out


def _factor(k: float | None) -> str:
    return ", without a coverage factor" if k is None else f" (k = {k:g})"


def _distinct(record: Ints, parameter: Ints) -> list[tuple[int, int]]:
    pairs = np.unique(np.stack([record, parameter]), axis=1)
    return [(int(r), int(p)) for r, p in pairs.T]


def _wrong(judged: Judged) -> Reals:
    graded, verdict, uncertainty = judged.graded, judged.records.verdict, judged.uncertainty
    known: Bools = uncertainty.known & ~np.isnan(uncertainty.factor)
    out = np.full(len(verdict), np.nan)
    if not known.any():
        return out
    with np.errstate(divide="ignore", invalid="ignore"):
        share = graded.margin * uncertainty.factor / (uncertainty.width * math.sqrt(2.0))
    beyond = 0.5 * _erfc(np.nan_to_num(share, nan=0.0))
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
