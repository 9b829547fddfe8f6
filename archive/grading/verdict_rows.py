"""Rows of the verdicts table."""

from __future__ import annotations

import numpy as np
import pyarrow as pa

from archive import limits, vocabulary
from archive.grading import configurations, decision, judgement
from archive.grading.accuracy import Accuracy
from archive.grading.arithmetic import EXACT, Ints, Reals
from archive.grading.coverage import rules
from archive.grading.grade_rows import Judged, as_table, doubt_texts, flags, reals, repeated, texts
from archive.grading.graded_columns import FAIL, NOT_GRADED, UNKNOWN, VERDICTS, GradedColumns, LimitNotes
from archive.grading.grading_input import GradingInput
from archive.grading.informational import left_out_by
from archive.grading.resolve_limit import ResolvedLimit
from archive.grading.sweep_arrays import ENDS
from archive.tables import Batch
from archive.tables.arrow import one_chunk
from archive.version import PROGRAM

_NO_POINT = "without a value and a frequency to grade"


def verdicts(
    data: GradingInput, judged: Judged, at: Ints, named: list[ResolvedLimit], accuracy: Accuracy | None
) -> pa.Table:
    """Rows for the records at some places of the batch. named: per record of the batch, what its words mean."""
    records, graded, notes = judged.records, judged.graded, judged.notes
    marginal, basis = _marginal(data, judged, accuracy)
    decided, wrong = decision.statements(data.batch, judged, accuracy)
    covered = notes.covered[at]
    made = {
        **_same_columns(data.batch, at),
        "limit_id": repeated(judged.limit.id, len(at)),
        "verdict": texts(VERDICTS, records.verdict[at]),
        "reason": pa.array([r or None for r in _reasons(data, judged, at, named)], pa.string()),
        "marginal": flags(marginal[at]),
        "marginal_basis": pa.array([basis[r] for r in at.tolist()], pa.string()),
        "provisional": pa.array(records.doubts[at] > 0),
        "provisional_because": doubt_texts(records.doubts[at]),
        "within_resolution": flags(records.within[at]),
        "agrees": flags(_agrees(data, judged)[at]),
        "covers_from_mhz": reals(covered[:, 0]),
        "covers_to_mhz": reals(covered[:, 1]),
        **_point(graded, notes, records.worst[at]),
        **{f"leading_{name}": column for name, column in _point(graded, notes, records.leading[at]).items()},
        "insertion_loss_margin": reals(_loss_margin(graded, notes, len(records.verdict))[at]),
        "left_out": pa.array(_left_out(judged, at), pa.string()),
        "confirmed_by": repeated("; ".join(judged.limit.confirmations) or None, len(at)),
        "decision": pa.array([decided[r] for r in at.tolist()], pa.string()),
        "wrong_probability": reals(wrong[at]),
    }
    return as_table("verdicts", made, len(at))


def _point(graded: GradedColumns, notes: LimitNotes, place: Ints) -> dict[str, pa.Array]:
    """Columns of the deciding point of some curves; null where the place is -1."""

    def code(column: Ints) -> Ints:
        return np.append(column, -1)[place]

    end = code(graded.end)
    numbers = {"frequency_mhz": "frequency", "value": "value", "limit": "limit", "margin": "margin"}
    return {
        "parameter": texts(notes.names, code(graded.parameter)),
        "pairing": texts(notes.pairings.listed, code(graded.pairing)),
        "end": texts(ENDS[:2], np.where(end < 2, end, -1)),
        **{column: reals(np.append(graded.decisive(name), np.nan)[place]) for column, name in numbers.items()},
    }


def _loss_margin(graded: GradedColumns, notes: LimitNotes, records: int) -> Reals:
    """Per record the smallest margin of insertion loss at the points of which grades are kept and whose limit is high
    enough to separate links; NaN where there is none."""
    out = np.full(records, np.nan)
    mine = graded.take(graded.parameter == notes.numbers.get("insertion_loss", -1))
    for limit, margin in ((mine.limit, mine.margin), (mine.value_limit, mine.value_margin)):
        high = limit > rules()["leading"]["insertion_loss_limit_above"]
        np.fmin.at(out, mine.record[high], margin[high])
    return out


def _left_out(judged: Judged, at: Ints) -> list[str | None]:
    """Per record, the points that are for information only: return loss: 12 points from 1 to 2.05 MHz, ..."""
    parameters, notes = judged.parameters, judged.notes
    texts_of: dict[int, list[str]] = {}
    for k in np.flatnonzero((parameters.left_out > 0).any(axis=0)):
        name, rule = vocabulary.parameter(notes.names[k]).name, left_out_by(judged.limit, notes.names[k])
        some = np.flatnonzero(parameters.left_out[:, k])
        counts, low, high = (
            column[some, k].tolist()
            for column in (parameters.left_out, parameters.left_out_from, parameters.left_out_to)
        )
        for r, count, first, last in zip(some.tolist(), counts, low, high, strict=True):
            texts_of.setdefault(r, []).append(f"{name}: {count} points from {first:g} to {last:g} MHz, {rule}")
    return ["; ".join(texts_of[r]) if r in texts_of else None for r in at.tolist()]


def without_grades(batch: Batch, limit_id: str | None, reasons: list[str], at: Ints | None = None) -> pa.Table:
    """Verdicts of records that are not graded at all. reasons: by record. at: their places; None for all of them."""
    made = {
        **_same_columns(batch, np.arange(len(batch)) if at is None else at),
        "limit_id": repeated(limit_id, len(reasons)),
        "verdict": repeated("not graded", len(reasons)),
        "reason": pa.array(reasons, pa.string()),
        "provisional": pa.array(np.zeros(len(reasons), np.bool_)),
    }
    return as_table("verdicts", made, len(reasons))


def _same_columns(batch: Batch, at: Ints) -> dict[str, pa.Array]:
    """Columns that do not depend on the limit."""
    names = ("record_id", "link_label", "limit_found")
    return {
        **{name: one_chunk(batch["records"].column(name)).take(pa.array(at)) for name in names},
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
    known = data.reported.numbers(limit, notes.numbers) >= 0
    elsewhere = data.reported.record[known & ~np.isnan(data.reported.value + data.reported.frequency)]
    for place in np.flatnonzero(nothing):
        if data.evidence[place] == "worst-points":
            why = "none in the range of this limit" if place in elsewhere else _NO_POINT
            empty[place] = notes.texts.code(f"worst points only, {why}")
    missing = judgement.reasons(judged.parameters, notes, empty)
    differences: dict[int, list[str]] = {}
    for (record, number), found in sorted(judged.comparison.notes.items()):
        name = vocabulary.parameter(notes.names[number]).name + ": " if number >= 0 else ""
        differences.setdefault(record, []).extend(name + text for text in found)
    warnings = _warnings(judged)
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
        parts += warnings.get(r, [])
        parts.append(named[r].reason if judged.is_named[r] else configurations.remark(data, limit, named[r], r))
        out.append("; ".join(part for part in parts if part))
    return out


def _warnings(judged: Judged) -> dict[int, list[str]]:
    """By record, the advisory lines that it is beyond, and by how much at worst."""
    notes, margins = judged.notes, judged.parameters.margin
    found: dict[int, list[str]] = {}
    for r, n in zip(*np.nonzero(notes.advisory & (margins < -EXACT)), strict=True):
        name = vocabulary.parameter(notes.names[n]).name
        found.setdefault(int(r), []).append(f"warning: {name} is {-margins[r, n]:.1f} dB beyond an advisory line")
    return found


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
    graded, band, known = judged.graded, judged.uncertainty.width, judged.uncertainty.known
    if known.any():
        by_record = judged.uncertainty.by_record
        for r in np.unique(graded.record[known]):
            out[r], basis[r] = 0, None
        for rows, whose in ((known & ~by_record, accuracy and accuracy.basis), (by_record, decision.BY_RECORD)):
            for r in np.unique(graded.record[rows]):
                basis[r] = "; ".join(x for x in (basis[r], whose) if x)
        # A record that fails is marginal where every failing curve is; one that passes where any curve is.
        near = np.abs(graded.margin) < band - EXACT
        fails = judged.records.verdict == FAIL
        looked = known & (~fails[graded.record] | (graded.verdict == FAIL))
        out[np.unique(graded.record[looked & near])] = 1
        out[np.unique(graded.record[looked & ~near & (graded.verdict == FAIL)])] = 0
    return out, basis
