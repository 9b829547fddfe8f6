"""The curves that grading recomputes from others, as rows of sweeps: for pictures and for closer inspection."""

from __future__ import annotations

from collections.abc import Collection, Iterator
from typing import Any

import numpy as np
import pyarrow as pa

from archive.grading.arithmetic import Reals
from archive.grading.expressions import CurveExpression, LayoutBlock
from archive.grading.grade_rows import as_table
from archive.grading.grading_input import GradingInput
from archive.grading.layouts import Layout
from archive.grading.plan import DERIVED, DerivationPlan
from archive.grading.sweep_arrays import ENDS, PAIRINGS
from archive.tables import Batch, axis_row, schema
from archive.tables.arrow import rows_of


def derived(batch: Batch, parameters: Collection[str] = DERIVED) -> Batch:
    """The batch with the curves that grading works with, added to its sweeps with origin derived, and their axes.

    parameters: those to add, of PS NEXT, ACR-N, ACR-F and the like. Values in dB at the points that all parts share;
    a part known only as a bound gives the lower bound of the derived value, and a point of which nothing is known is
    null. Curves that are there already, in whatever origin, stay. Definitions: archive.grading.plan.
    """
    data = GradingInput(batch)
    axes = {row["axis_id"]: row for row in batch["axes"].to_pylist()}
    made = [part for layout in data.layouts for part in _of_layout(data, layout, parameters, axes)]
    if not made:
        return batch
    rows = pa.concat_tables([batch["sweeps"], *made])
    by_record = np.argsort(rows_of(rows.column("record_id"), data.ids), kind="stable")
    together = rows.take(pa.array(by_record)).combine_chunks()
    return batch.replace(sweeps=together, axes=pa.Table.from_pylist(list(axes.values()), schema=schema("axes")))


def _of_layout(
    data: GradingInput, layout: Layout, parameters: Collection[str], axes: dict[str, dict[str, Any]]
) -> Iterator[pa.Table]:
    plan = DerivationPlan(data.curves, layout, 0.0, np.inf)
    # A block knows what it has computed by the identity of the expression, so every expression must outlive it.
    listed = [(p, expression) for p in DERIVED if p in parameters for expression in plan.recomputed(p)]
    block = LayoutBlock(slice(0, len(layout.records)))
    records = data.ids.take(pa.array(layout.records))
    for parameter, expression in listed:
        axis = axis_row(expression.grid.frequencies.tolist())
        axes.setdefault(axis["axis_id"], axis)
        yield _rows(parameter, expression, expression.at(block).low, records, axis["axis_id"])


def _rows(parameter: str, expression: CurveExpression, values: Reals, records: pa.Array, axis: str) -> pa.Table:
    """Rows of sweeps. values: (records, curves, points)."""
    count, curves, points = values.shape
    rows = count * curves
    flat = np.ascontiguousarray(values).reshape(-1)
    offsets = pa.array(np.arange(rows + 1) * points, pa.int32())
    columns = {
        "record_id": records.take(pa.array(np.repeat(np.arange(count), curves))),
        "parameter": pa.array([parameter] * rows),
        "end": pa.array([ENDS[e] for e in expression.ends] * count, pa.string()),
        "pairing": pa.array([PAIRINGS[p] for p in expression.pairings] * count, pa.string()),
        "origin": pa.array(["derived"] * rows),
        "axis_id": pa.array([axis] * rows),
        "values": pa.ListArray.from_arrays(offsets, pa.array(flat, mask=~np.isfinite(flat))),
    }
    return as_table("sweeps", columns, rows)
