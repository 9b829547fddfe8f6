"""Rows of the grades and verdicts tables from columns of numbers."""

from __future__ import annotations

from typing import Any

import numpy as np
import pyarrow as pa

from archive.grading.arithmetic import Ints, Reals, rounded
from archive.grading.comparison import Comparison
from archive.grading.curves import ENDS
from archive.grading.graded_columns import (
    CONFIDENCES,
    UNKNOWN,
    VERDICTS,
    WORST_MARGIN,
    WORST_VALUE,
    GradedColumns,
    LimitNotes,
)
from archive.grading.judgement import ParameterVerdicts
from archive.tables import schema

_KINDS = ("worst_margin", "worst_value", "overall")


def texts(listed: Any, codes: Ints) -> Any:
    """TextCodes by number as Arrow strings; null for a negative number."""
    column = pa.array(list(listed), pa.string())
    if not len(column):
        return pa.nulls(len(codes), pa.string())
    return column.take(pa.array(np.maximum(codes, 0), mask=codes < 0))


def reals(values: Reals) -> Any:
    """Rounded numbers as Arrow float64; null for what is no finite number."""
    return pa.array(rounded(values), mask=~np.isfinite(values))


def flags(values: Ints) -> Any:
    """Arrow booleans; null for UNKNOWN."""
    return pa.array(values == 1, mask=values == UNKNOWN)


def grades(
    limit_id: str,
    record_ids: Any,
    graded: GradedColumns,
    rank: Ints,
    parameters: ParameterVerdicts,
    comparison: Comparison,
    tables: LimitNotes,
) -> tuple[Any, Ints]:
    """Rows of the grades table, and per row the place of its record; in the order of records, parameters, ends,
    pairings, then worst margin, worst value; the row of the whole parameter last."""
    parts = [_curves(graded, comparison, kind) for kind in (WORST_MARGIN, WORST_VALUE)]
    parts.append(_overall(parameters, comparison, tables))
    columns = {name: np.concatenate([p[name] for p in parts]) for name in parts[0]}
    order = _order(columns, rank, len(tables.names))
    c = {name: column[order] for name, column in columns.items()}
    nothing = pa.nulls(len(order), pa.string())
    made = {
        "record_id": record_ids.take(pa.array(c["record"])),
        "limit_id": pa.array([limit_id], pa.string()).take(pa.array(np.zeros(len(order), np.int64))),
        "parameter": texts(tables.names, c["parameter"]),
        "kind": texts(_KINDS, c["kind"]),
        "end": texts(ENDS[:2], np.where(c["end"] < 2, c["end"], -1)),
        "pairing": texts(tables.pairings.listed, c["pairing"]),
        "direction": nothing,
        "wavelength_nm": nothing.cast(pa.float64()),
        "frequency_mhz": reals(c["frequency"]),
        "value": reals(c["value"]),
        "limit": reals(c["limit"]),
        "margin": reals(c["margin"]),
        "verdict": texts(VERDICTS, c["verdict"]),
        "reason": texts(tables.texts.listed, c["reason"]),
        "provisional": pa.array(c["provisional"].astype(np.bool_)),
        "confidence": texts(CONFIDENCES[1:], c["confidence"] - 1),
        "within_resolution": flags(c["within"]),
        "reported_margin": reals(c["reported"]),
        "agrees": flags(c["agrees"]),
        "derived": flags(c["derived"]),
    }
    return pa.table(made, schema=schema("grades")), c["record"]


def _order(columns: dict[str, Any], rank: Ints, parameters: int) -> Ints:
    """Order by record, parameter, end, pairing, kind. One key per row: the parts are sorted runs, quickly merged."""
    key = (columns["record"] * parameters + columns["parameter"]) * 4 + columns["end"]
    key = (key * (len(rank) + 1) + rank[columns["pairing"]] + 1) * 3 + columns["kind"]
    return np.argsort(key, kind="stable")


def _curves(graded: GradedColumns, comparison: Comparison, kind: int) -> dict[str, Any]:
    here = np.flatnonzero((graded.kinds & kind) > 0)
    worst = kind == WORST_MARGIN
    margin = (graded.margin if worst else graded.value_margin)[here]
    resolution = graded.resolution[here]
    unknown = np.isnan(resolution) | np.isnan(margin)
    with np.errstate(invalid="ignore"):
        within = np.where(unknown, UNKNOWN, np.abs(margin) < resolution)
    return {
        "record": graded.record[here],
        "parameter": graded.parameter[here],
        "end": graded.end[here],
        "pairing": graded.pairing[here],
        "kind": np.full(len(here), 0 if worst else 1),
        "frequency": (graded.frequency if worst else graded.value_frequency)[here],
        "value": (graded.value if worst else graded.value_value)[here],
        "limit": (graded.limit if worst else graded.value_limit)[here],
        "margin": margin,
        "verdict": graded.verdict[here],
        "reason": graded.reason[here],
        "provisional": graded.provisional[here],
        "confidence": graded.confidence[here],
        "within": within,
        "reported": comparison.margins[kind][here],
        "agrees": comparison.agrees[kind][here],
        "derived": graded.derived[here].astype(np.int64),
    }


def _overall(parameters: ParameterVerdicts, comparison: Comparison, tables: LimitNotes) -> dict[str, Any]:
    """One row per parameter of which something was graded or that is missing in a record that has others."""
    some = parameters.there.any(axis=1, keepdims=True)
    noted = np.zeros(parameters.there.shape, np.bool_)
    reason = parameters.reason.copy()
    for (record, number), notes in comparison.notes.items():
        if number >= 0:
            noted[record, number] = True
            held = reason[record, number]
            own = [tables.texts.listed[held]] if held >= 0 else []
            reason[record, number] = tables.texts.code("; ".join([*own, *notes]))
    at = np.nonzero(parameters.there | noted | (some & tables.required))
    count = len(at[0])
    nan = np.full(count, np.nan)
    return {
        "record": at[0],
        "parameter": at[1],
        "end": np.full(count, 3),
        "pairing": np.full(count, -1),
        "kind": np.full(count, 2),
        "frequency": nan,
        "value": nan,
        "limit": nan,
        "margin": parameters.margin[at],
        "verdict": parameters.verdict[at],
        "reason": reason[at],
        "provisional": parameters.provisional[at],
        "confidence": parameters.confidence[at],
        "within": np.full(count, UNKNOWN),
        "reported": comparison.parameter_margin[at],
        "agrees": comparison.parameter_agrees[at],
        "derived": np.full(count, UNKNOWN),
    }
