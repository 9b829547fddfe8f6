"""The curves that grading recomputes from others, as rows of sweeps: for pictures and for whoever wants to look."""

from __future__ import annotations

from collections.abc import Collection, Iterator
from typing import Any

import numpy as np
import pyarrow as pa

from archive.grading.arithmetic import Reals
from archive.grading.curves import ENDS, PAIRINGS
from archive.grading.expressions import CurveExpression, RecordBlock
from archive.grading.grading_input import GradingInput
from archive.grading.layouts import Layout
from archive.grading.plan import DERIVED, DerivationPlan
from archive.tables import Batch, axis_row, schema


def derived(batch: Batch, parameters: Collection[str] = DERIVED) -> Batch:
    """The batch with the curves that grading works with, added to its sweeps with origin derived, and their axes.

    parameters: those to add, of PS NEXT, ACR-N, ACR-F and the like. Values in dB at the points that all parts share;
    a part known only as a bound gives the lower bound of the derived value, and a point of which nothing is known is
    null. Curves that are there already, in whatever origin, stay. Definitions: archive.grading.plan.
    """
    data = GradingInput(batch)
    ids = batch["records"].column("record_id").to_pylist()
    axes = {row["axis_id"]: row for row in batch["axes"].to_pylist()}
    made = [part for layout in data.layouts for part in _of_layout(data, layout, parameters, ids, axes)]
    if not made:
        return batch
    rows = pa.concat_tables([batch["sweeps"], *made])
    place = {record: k for k, record in enumerate(ids)}
    record = np.array([place[r] for r in rows.column("record_id").to_pylist()])
    together = rows.take(pa.array(np.argsort(record, kind="stable"))).combine_chunks()
    return batch.replace(sweeps=together, axes=pa.Table.from_pylist(list(axes.values()), schema=schema("axes")))


def _of_layout(
    data: GradingInput, layout: Layout, parameters: Collection[str], ids: list[str], axes: dict[str, dict[str, Any]]
) -> Iterator[Any]:
    plan = DerivationPlan(data.curves, layout, 0.0, np.inf)
    # A block knows what it has computed by the identity of the expression, so every expression must outlive it.
    expressions = [(p, expression) for p in DERIVED if p in parameters for expression in plan.recomputed(p)]
    block = RecordBlock(slice(0, len(layout.records)))
    records = [ids[r] for r in layout.records]
    for parameter, expression in expressions:
        axis = axis_row(expression.grid.frequencies.tolist())
        axes.setdefault(axis["axis_id"], axis)
        yield _rows(parameter, expression, expression.at(block).low, records, axis["axis_id"])


def _rows(parameter: str, expression: CurveExpression, values: Reals, records: list[str], axis: str) -> Any:
    """Rows of sweeps. values: (records, curves, points)."""
    count, curves, points = values.shape
    flat = np.ascontiguousarray(values).reshape(-1)
    offsets = pa.array(np.arange(count * curves + 1) * points, pa.int32())
    table = schema("sweeps")
    columns = {
        "record_id": pa.array(np.repeat(np.array(records, object), curves)),
        "parameter": pa.array([parameter] * (count * curves)),
        "end": pa.array([ENDS[e] for e in expression.ends] * count),
        "pairing": pa.array([PAIRINGS[p] for p in expression.pairings] * count),
        "origin": pa.array(["derived"] * (count * curves)),
        "axis_id": pa.array([axis] * (count * curves)),
        "values": pa.ListArray.from_arrays(offsets, pa.array(flat, mask=~np.isfinite(flat))),
    }
    arrays = [columns[f.name].cast(f.type) if f.name in columns else pa.nulls(count * curves, f.type) for f in table]
    return pa.Table.from_arrays(arrays, schema=table)
