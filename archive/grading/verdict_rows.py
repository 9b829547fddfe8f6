"""Rows of the verdicts table."""

from __future__ import annotations

import numpy as np
import pyarrow as pa

from archive import limits, vocabulary
from archive.grading import configurations, judgement
from archive.grading.accuracy import Accuracy
from archive.grading.arithmetic import EXACT, Ints, Reals
from archive.grading.grade_rows import Judged, as_table, flags, reals, repeated, texts
from archive.grading.graded_columns import FAIL, NOT_GRADED, UNKNOWN, VERDICTS
from archive.grading.grading_input import GradingInput
from archive.grading.resolve_limit import ResolvedLimit
from archive.grading.sweep_arrays import ENDS
from archive.limits import Limit
from archive.version import PROGRAM


def verdicts(
    data: GradingInput, judged: Judged, at: Ints, named: list[ResolvedLimit], accuracy: Accuracy | None
) -> pa.Table:
    """Rows for the records at some places of the batch. named: per record of the batch, what its words mean."""
    records, graded, notes = judged.records, judged.graded, judged.notes
    marginal, basis = _marginal(data, judged, accuracy)
    worst = records.worst[at]
    covered = notes.covered[at]

    def of_worst(column: Reals) -> pa.Array:
        return reals(np.append(column, np.nan)[worst])

    def code(column: Ints) -> Ints:
        return np.append(column, -1)[worst]

    end = code(graded.end)
    made = {
        **_same_columns(data, at),
        "limit_id": repeated(judged.limit.id, len(at)),
        "verdict": texts(VERDICTS, records.verdict[at]),
        "reason": pa.array([r or None for r in _reasons(data, judged, at, named)], pa.string()),
        "marginal": flags(marginal[at]),
        "marginal_basis": pa.array([basis[r] for r in at.tolist()], pa.string()),
        "provisional": pa.array(records.provisional[at]),
        "within_resolution": flags(records.within[at]),
        "agrees": flags(_agrees(data, judged)[at]),
        "covers_from_mhz": reals(covered[:, 0]),
        "covers_to_mhz": reals(covered[:, 1]),
        "parameter": texts(notes.names, code(graded.parameter)),
        "pairing": texts(notes.pairings.listed, code(graded.pairing)),
        "end": texts(ENDS[:2], np.where(end < 2, end, -1)),
        "frequency_mhz": of_worst(graded.frequency),
        "value": of_worst(graded.value),
        "limit": of_worst(graded.limit),
        "margin": of_worst(graded.margin),
        "confirmed_by": repeated("; ".join(judged.limit.confirmations) or None, len(at)),
    }
    return as_table("verdicts", made, len(at))


def unknown(data: GradingInput, named: list[ResolvedLimit], at: Ints) -> pa.Table:
    """Verdicts of records whose limit is not known."""
    made = {
        **_same_columns(data, at),
        "verdict": repeated("not graded", len(at)),
        "reason": pa.array([named[r].reason for r in at.tolist()], pa.string()),
        "provisional": pa.array(np.zeros(len(at), np.bool_)),
    }
    return as_table("verdicts", made, len(at))


def withheld(data: GradingInput, limit: Limit, at: Ints, reason: str) -> pa.Table:
    """Verdicts of records that cannot be graded against a limit at all."""
    made = {
        **_same_columns(data, at),
        "limit_id": repeated(limit.id, len(at)),
        "verdict": repeated("not graded", len(at)),
        "reason": repeated(reason, len(at)),
        "provisional": pa.array(np.zeros(len(at), np.bool_)),
    }
    return as_table("verdicts", made, len(at))


def _same_columns(data: GradingInput, at: Ints) -> dict[str, pa.Array]:
    """Columns that do not depend on the limit."""
    place = pa.array(at)
    return {
        "record_id": data.ids.take(place),
        "link_label": data.labels.take(place),
        "limit_found": data.found.take(place),
        "limits_version": repeated(limits.version(), len(at)),
        "program": repeated(PROGRAM, len(at)),
    }


def _agrees(data: GradingInput, judged: Judged) -> Ints:
    """Per record: 0 where a verdict or any parameter differs from the instrument's, 1 where the verdicts are the
    same, UNKNOWN where there is nothing to compare or the margin lies within the resolution."""
    verdict, reported = judged.records.verdict, data.reported_verdict
    both = judged.is_named & (reported != UNKNOWN) & (verdict != NOT_GRADED)
    out = np.where(both & (verdict == reported), 1, UNKNOWN)
    out[both & (verdict != reported) & (judged.records.within != 1)] = 0
    for record, _ in judged.comparison.notes:
        out[record] = 0
    return out


def _reasons(data: GradingInput, judged: Judged, at: Ints, named: list[ResolvedLimit]) -> list[str]:
    """One text per record: what is not graded and why, what differs from the instrument, how far the answer reaches."""
    limit, notes, records = judged.limit, judged.notes, judged.records
    if not limit.established:
        return ["limit not established"] * len(at)
    nothing = ~judged.parameters.there.any(axis=1)
    empty = np.where(nothing, notes.texts.code("no measurements"), -1)
    for r in np.flatnonzero(nothing):
        if data.evidence[r] == "worst-points":
            empty[r] = notes.texts.code("worst points only, without a value and a frequency to grade")
    missing = judgement.reasons(judged.parameters, notes, empty)
    differences: dict[int, list[str]] = {}
    for (record, number), found in sorted(judged.comparison.notes.items()):
        name = vocabulary.parameter(notes.names[number]).name + ": " if number >= 0 else ""
        differences.setdefault(record, []).extend(name + text for text in found)
    out = []
    for r in at.tolist():
        parts = [judged.faults.get(r, ""), missing[r]]
        if limit.open and judged.parameters.there[r].any():
            listed = ", ".join(vocabulary.parameter(name).name for name in limit.open)
            parts.append(f"limit not established for {listed}")
        reported = data.reported_verdict[r]
        if judged.is_named[r] and reported not in (UNKNOWN, records.verdict[r]) and records.verdict[r] != NOT_GRADED:
            near = ", and the margin is smaller than half a step of its numbers" if records.within[r] == 1 else ""
            parts.append(f"the instrument says {VERDICTS[reported]}{near}")
        parts += differences.get(r, [])
        parts += _warnings(judged, r)
        if not judged.is_named[r]:
            parts.append(configurations.remark(data, limit, named[r], r))
        out.append("; ".join(part for part in parts if part))
    return out


def _warnings(judged: Judged, record: int) -> list[str]:
    """Advisory lines that a record is beyond, and by how much at worst."""
    notes, margins = judged.notes, judged.parameters.margin[record]
    return [
        f"warning: {vocabulary.parameter(notes.names[n]).name} is {-margins[n]:.1f} dB beyond an advisory line"
        for n in np.flatnonzero(notes.advisory & (margins < -EXACT))
    ]


def _marginal(data: GradingInput, judged: Judged, accuracy: Accuracy | None) -> tuple[Ints, list[str | None]]:
    """Per record of the batch, is it marginal and on what basis: by an accuracy that is known; else as the instrument
    marked it, for the limit that it tested to."""
    out = np.full(len(data.batch), UNKNOWN)
    basis: list[str | None] = [None] * len(data.batch)
    marked = np.array([UNKNOWN if m is None else int(m) for m in data.marked], np.int64)
    some = (data.reported.record >= 0) & (data.reported.marginal != UNKNOWN)
    np.maximum.at(marked, data.reported.record[some], data.reported.marginal[some])
    for r in np.flatnonzero(judged.is_named & (marked != UNKNOWN)):
        out[r], basis[r] = marked[r], "as the instrument marked it"
    if accuracy is not None:
        graded = judged.graded
        band = accuracy.at(graded.parameter, judged.notes.names, graded.frequency)
        known = graded.decides & ~np.isnan(band) & ~np.isnan(graded.margin)
        for r in np.unique(graded.record[known]):
            out[r], basis[r] = 0, accuracy.basis
        # A record that fails is marginal where every failing curve is; one that passes where any curve is.
        near = np.abs(graded.margin) < band - EXACT
        fails = judged.records.verdict == FAIL
        looked = known & (~fails[graded.record] | (graded.verdict == FAIL))
        out[np.unique(graded.record[looked & near])] = 1
        out[np.unique(graded.record[looked & ~near & (graded.verdict == FAIL)])] = 0
    return out, basis
