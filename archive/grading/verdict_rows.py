"""Rows of the verdicts table."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import pyarrow as pa

from archive import limits, vocabulary
from archive.grading import grade_rows, judgement, resolve_limit
from archive.grading.accuracy import Accuracy
from archive.grading.arithmetic import EXACT, Bools, Ints
from archive.grading.comparison import Comparison
from archive.grading.graded_columns import FAIL, NOT_GRADED, UNKNOWN, VERDICTS, GradedColumns, LimitNotes
from archive.grading.grading_input import GradingInput
from archive.tables import schema
from archive.version import PROGRAM


@dataclass
class Judged:
    """Everything that came of one limit."""

    limit: Any
    graded: GradedColumns
    parameters: judgement.ParameterVerdicts
    records: judgement.RecordVerdicts
    comparison: Comparison
    tables: LimitNotes


def verdicts(
    data: GradingInput,
    judged: Judged,
    at: Ints,
    own: Bools,
    names: list[resolve_limit.ResolvedLimit],
    faults: dict[int, str],
    accuracy: Accuracy | None,
) -> Any:
    """Rows for the records at some places of the batch. own: is the limit the one that the record names; names: what
    its words mean; faults: of the wire map, by record."""
    limit, records, graded, tables = judged.limit, judged.records, judged.graded, judged.tables
    agrees = _agrees(data, judged, own)
    reason = _reasons(data, judged, at, own, names, faults)
    marginal, basis = _marginal(data, judged, at, own, accuracy)
    worst = records.worst[at]
    there = worst >= 0
    covered = tables.covered[at]

    def of_worst(column: Any) -> Any:
        picked = np.full(len(at), np.nan)
        picked[there] = column[worst[there]]
        return grade_rows.reals(picked)

    def code(column: Any) -> Any:
        picked = np.full(len(at), -1)
        picked[there] = column[worst[there]]
        return picked

    end = code(graded.end)
    confirmed = "; ".join(limit.confirmations) or None
    made = {
        "record_id": data.ids.take(pa.array(at)),
        "link_label": data.labels.take(pa.array(at)),
        "limit_id": pa.array([limit.id] * len(at), pa.string()),
        "limit_found": data.found.take(pa.array(at)),
        "verdict": grade_rows.texts(VERDICTS, records.verdict[at]),
        "reason": pa.array([r or None for r in reason], pa.string()),
        "marginal": grade_rows.flags(marginal),
        "marginal_basis": pa.array(basis, pa.string()),
        "provisional": pa.array(records.provisional[at]),
        "within_resolution": grade_rows.flags(records.within[at]),
        "agrees": grade_rows.flags(agrees[at]),
        "covers_from_mhz": grade_rows.reals(covered[:, 0]),
        "covers_to_mhz": grade_rows.reals(covered[:, 1]),
        "parameter": grade_rows.texts(tables.names, code(graded.parameter)),
        "pairing": grade_rows.texts(tables.pairings.listed, code(graded.pairing)),
        "end": grade_rows.texts(("local", "remote"), np.where(end < 2, end, -1)),
        "frequency_mhz": of_worst(graded.frequency),
        "value": of_worst(graded.value),
        "limit": of_worst(graded.limit),
        "margin": of_worst(graded.margin),
        "confirmed_by": pa.array([confirmed] * len(at), pa.string()),
        "limits_version": pa.array([limits.version()] * len(at), pa.string()),
        "program": pa.array([PROGRAM] * len(at), pa.string()),
    }
    return pa.table(made, schema=schema("verdicts"))


def _agrees(data: GradingInput, judged: Judged, own: Bools) -> Ints:
    """Per record: 0 where a verdict or any parameter differs from the instrument's, 1 where the verdicts are the
    same, UNKNOWN where there is nothing to compare or the margin lies within the resolution."""
    verdict, stated = judged.records.verdict, data.reported_verdict
    both = own & (stated != UNKNOWN) & (verdict != NOT_GRADED)
    out = np.where(both & (verdict == stated), 1, UNKNOWN)
    out[both & (verdict != stated) & (judged.records.within != 1)] = 0
    for record, _ in judged.comparison.notes:
        out[record] = 0
    return out


def _reasons(
    data: GradingInput,
    judged: Judged,
    at: Ints,
    own: Bools,
    names: list[resolve_limit.ResolvedLimit],
    faults: dict[int, str],
) -> list[str]:
    """One text per record: what is not graded and why, what differs from the instrument, how far the answer reaches."""
    limit, tables, records = judged.limit, judged.tables, judged.records
    if not limit.established:
        return ["limit not established"] * len(at)
    nothing = ~judged.parameters.there.any(axis=1)
    empty = np.where(nothing, tables.texts.code("no measurements"), -1)
    for r in np.flatnonzero(nothing):
        if data.evidence[r] == "worst-points":
            empty[r] = tables.texts.code("worst points only, without a value and a frequency to grade")
    missing = judgement.reasons(limit, judged.parameters, tables, empty)
    notes: dict[int, list[str]] = {}
    for (record, number), texts in sorted(judged.comparison.notes.items()):
        name = vocabulary.parameter(tables.names[number]).name + ": " if number >= 0 else ""
        notes.setdefault(record, []).extend(name + text for text in texts)
    out = []
    for r in at.tolist():
        parts = [faults.get(r, ""), missing[r]]
        if limit.open and judged.parameters.there[r].any():
            listed = ", ".join(vocabulary.parameter(name).name for name in limit.open)
            parts.append(f"limit not established for {listed}")
        if (
            own[r]
            and data.reported_verdict[r] not in (UNKNOWN, records.verdict[r])
            and records.verdict[r] != NOT_GRADED
        ):
            near = ", and the margin is smaller than half a step of its numbers" if records.within[r] == 1 else ""
            parts.append(f"the instrument says {VERDICTS[data.reported_verdict[r]]}{near}")
        parts += notes.get(r, [])
        if not own[r]:
            parts.append(_other_configuration(data, limit, names[r], r))
        out.append("; ".join(part for part in parts if part))
    return out


def _other_configuration(data: GradingInput, limit: Any, name: resolve_limit.ResolvedLimit, record: int) -> str:
    """How far an answer reaches where a link was measured in another configuration than the limit is for."""
    tested = data.configuration[record]
    if not tested and name.limit_id is not None:
        tested = name.limit_id.rsplit("/", 1)[-1]
    wanted = limit.configuration
    if not tested or not wanted or tested.rstrip("-23") == wanted.rstrip("-23"):
        return ""
    return f"measured as a {_plain(tested)}, the limit is for a {_plain(wanted)}"


def _plain(configuration: str) -> str:
    return configuration.rstrip("-23").replace("-", " ")


def _marginal(
    data: GradingInput, judged: Judged, at: Ints, own: Bools, accuracy: Accuracy | None
) -> tuple[Ints, list[str | None]]:
    """Marginal by an accuracy that is known; else as the instrument marked it, for the limit it tested to."""
    out = np.full(len(data.batch), UNKNOWN)
    basis: list[str | None] = [None] * len(data.batch)
    marked = np.array([UNKNOWN if m is None else int(m) for m in data.marked], np.int64)
    some = (data.reported.record >= 0) & (data.reported.marginal != UNKNOWN)
    np.maximum.at(marked, data.reported.record[some], data.reported.marginal[some])
    for r in np.flatnonzero(own & (marked != UNKNOWN)):
        out[r], basis[r] = marked[r], "as the instrument marked it"
    if accuracy is not None:
        graded = judged.graded
        band = accuracy.at(graded.parameter, judged.tables.names, graded.frequency)
        known = graded.decides & ~np.isnan(band) & ~np.isnan(graded.margin)
        for r in np.unique(graded.record[known]):
            out[r], basis[r] = 0, accuracy.basis
        # A record that fails is marginal where every failing curve is; one that passes where any curve is.
        near = np.abs(graded.margin) < band - EXACT
        fails = judged.records.verdict == FAIL
        looked = known & (~fails[graded.record] | (graded.verdict == FAIL))
        out[np.unique(graded.record[looked & near])] = 1
        out[np.unique(graded.record[looked & ~near & (graded.verdict == FAIL)])] = 0
    return out[at], [basis[r] for r in at.tolist()]


def unknown(data: GradingInput, names: list[resolve_limit.ResolvedLimit], at: Ints) -> Any:
    """Verdicts of records whose limit is not known."""
    count = len(at)
    made = {
        "record_id": data.ids.take(pa.array(at)),
        "link_label": data.labels.take(pa.array(at)),
        "limit_found": data.found.take(pa.array(at)),
        "verdict": pa.array(["not graded"] * count, pa.string()),
        "reason": pa.array([names[r].reason for r in at.tolist()], pa.string()),
        "provisional": pa.array([False] * count),
        "limits_version": pa.array([limits.version()] * count, pa.string()),
        "program": pa.array([PROGRAM] * count, pa.string()),
    }
    want = schema("verdicts")
    return pa.table({f.name: made.get(f.name, pa.nulls(count, f.type)) for f in want}, schema=want)
