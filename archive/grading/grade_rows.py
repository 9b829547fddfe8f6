"""Rows of the grades table from columns of numbers."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import pyarrow as pa

from archive.grading.arithmetic import Bools, Ints, Reals, rounded
from archive.grading.comparison import Comparison
from archive.grading.graded_columns import (
    CONFIDENCES,
    DOUBTS,
    UNKNOWN,
    VERDICTS,
    WORST_MARGIN,
    WORST_VALUE,
    GradedColumns,
    LimitNotes,
)
from archive.grading.informational import left_out_by
from archive.grading.judgement import ParameterVerdicts, RecordVerdicts
from archive.grading.sweep_arrays import ENDS
from archive.grading.uncertainty import Uncertainty
from archive.limits import Limit
from archive.tables import schema

_KINDS = ("worst_margin", "worst_value", "overall")


@dataclass
class Judged:
    """Everything that came of one limit.

    is_named: per record, is it the limit that the record names. faults: of the wire map, and passes that a
    guard band withholds, by record. uncertainty: of the graded curves and numbers.
    """

    limit: Limit
    graded: GradedColumns
    parameters: ParameterVerdicts
    records: RecordVerdicts
    comparison: Comparison
    notes: LimitNotes
    is_named: Bools
    faults: dict[int, str]
    uncertainty: Uncertainty


def texts(listed: Sequence[str | None], codes: Ints) -> pa.Array:
    """Texts by code, (n,) strings; null for a negative code."""
    column = pa.array(list(listed), pa.string())
    if not len(column):
        return pa.nulls(len(codes), pa.string())
    return column.take(pa.array(np.maximum(codes, 0), mask=codes < 0))


def reals(values: Reals) -> pa.Array:
    """Rounded numbers, (n,) float64; null for what is no finite number."""
    return pa.array(rounded(values), mask=~np.isfinite(values))


def flags(values: Ints) -> pa.Array:
    """Booleans, (n,); null for UNKNOWN."""
    return pa.array(values == 1, mask=values == UNKNOWN)


def repeated(value: str | None, count: int) -> pa.Array:
    """One text many times, (count,) strings."""
    return pa.array([value], pa.string()).take(pa.array(np.zeros(count, np.int64)))


def grades(judged: Judged, record_ids: pa.Array, rank: Ints) -> tuple[pa.Table, Ints]:
    """Rows of the grades table, and per row the place of its record.

    In the order of records, parameters, ends, pairings, then worst margin, worst value; the row of the whole parameter
    last. rank: order of the pairings, by code.
    """
    notes = judged.notes
    parts = [_curves(judged.graded, judged.comparison, kind) for kind in (WORST_MARGIN, WORST_VALUE)]
    parts.append(_overall(judged.parameters, judged.comparison, notes))
    columns = {name: np.concatenate([p[name] for p in parts]) for name in parts[0]}
    order = _order(columns, rank, len(notes.names))
    c = {name: column[order] for name, column in columns.items()}
    rules = [left_out_by(judged.limit, name) for name in notes.names]
    made = {
        "record_id": record_ids.take(pa.array(c["record"])),
        "limit_id": repeated(judged.limit.id, len(order)),
        "parameter": texts(notes.names, c["parameter"]),
        "kind": texts(_KINDS, c["kind"]),
        "end": texts(ENDS[:2], np.where(c["end"] < 2, c["end"], -1)),
        "pairing": texts(notes.pairings.listed, c["pairing"]),
        **{name: reals(c[name]) for name in ("value", "limit", "margin")},
        "frequency_mhz": reals(c["frequency"]),
        "verdict": texts(VERDICTS, c["verdict"]),
        "reason": texts(notes.texts.listed, c["reason"]),
        "provisional": pa.array(c["doubts"] > 0),
        "confidence": texts(CONFIDENCES[1:], c["confidence"] - 1),
        "within_resolution": flags(c["within"]),
        "reported_margin": reals(c["reported"]),
        "agrees": flags(c["agrees"]),
        "derived": flags(c["derived"]),
        "provisional_because": doubt_texts(c["doubts"]),
        "left_out_points": pa.array(c["left_out"], mask=c["left_out"] == 0),
        "left_out_from_mhz": reals(c["left_out_from"]),
        "left_out_to_mhz": reals(c["left_out_to"]),
        "left_out_rule": texts(rules, np.where(c["left_out"] > 0, c["parameter"], -1)),
    }
    return as_table("grades", made, len(order)), c["record"]


def doubt_texts(doubts: Ints) -> pa.Array:
    """Why verdicts are provisional, (n,) strings; null where they are not. doubts: flags."""
    listed = ["; ".join(text for flag, text in DOUBTS.items() if flag & code) for code in range(sum(DOUBTS) + 1)]
    return texts(listed, np.where(doubts > 0, doubts, -1))


def as_table(name: str, columns: dict[str, pa.Array], count: int) -> pa.Table:
    """A table of the batch; columns that are not given are null."""
    want = schema(name)
    listed = [columns[f.name] if f.name in columns else pa.nulls(count, f.type) for f in want]
    return pa.table(listed, schema=want)


def _order(columns: dict[str, Any], rank: Ints, parameters: int) -> Ints:
    """Order by record, parameter, end, pairing, kind. One key per row: the parts are sorted runs, quickly merged."""
    key = (columns["record"] * parameters + columns["parameter"]) * 4 + columns["end"]
    key = (key * (len(rank) + 1) + rank[columns["pairing"]] + 1) * 3 + columns["kind"]
    return np.argsort(key, kind="stable")


def _curves(graded: GradedColumns, comparison: Comparison, kind: int) -> dict[str, Any]:
    here = np.flatnonzero((graded.kinds & kind) > 0)
    prefix = "" if kind == WORST_MARGIN else "value_"
    point = {name: getattr(graded, prefix + name)[here] for name in ("frequency", "value", "limit", "margin")}
    resolution = graded.resolution[here]
    unknown = np.isnan(resolution) | np.isnan(point["margin"])
    with np.errstate(invalid="ignore"):
        within = np.where(unknown, UNKNOWN, np.abs(point["margin"]) < resolution)
    same = ("record", "parameter", "end", "pairing", "verdict", "reason", "doubts", "confidence")
    left_out = ("left_out", "left_out_from", "left_out_to")
    return {
        **{name: getattr(graded, name)[here] for name in (*same, *left_out)},
        **point,
        "kind": np.full(len(here), 0 if kind == WORST_MARGIN else 1),
        "within": within,
        "reported": comparison.margins[kind][here],
        "agrees": comparison.agrees[kind][here],
        "derived": graded.derived[here].astype(np.int64),
    }


def _overall(parameters: ParameterVerdicts, comparison: Comparison, notes: LimitNotes) -> dict[str, Any]:
    """One row per parameter of which something was graded or that is missing in a record that has others."""
    some = parameters.there.any(axis=1, keepdims=True)
    noted = np.zeros(parameters.there.shape, np.bool_)
    reason = parameters.reason.copy()
    for (record, number), differences in comparison.notes.items():
        if number >= 0:
            noted[record, number] = True
            before = reason[record, number]
            first = [notes.texts.listed[before]] if before >= 0 else []
            reason[record, number] = notes.texts.code("; ".join([*first, *differences]))
    at = np.nonzero(parameters.there | noted | (some & notes.required))
    count = len(at[0])
    return {
        "record": at[0],
        "parameter": at[1],
        "end": np.full(count, 3),
        "pairing": np.full(count, -1),
        "kind": np.full(count, 2),
        **dict.fromkeys(("frequency", "value", "limit"), np.full(count, np.nan)),
        "margin": parameters.margin[at],
        "verdict": parameters.verdict[at],
        "reason": reason[at],
        **{
            name: getattr(parameters, name)[at]
            for name in ("doubts", "confidence", "left_out", "left_out_from", "left_out_to")
        },
        "reported": comparison.parameter_margin[at],
        "agrees": comparison.parameter_agrees[at],
        **dict.fromkeys(("within", "derived"), np.full(count, UNKNOWN)),
    }
