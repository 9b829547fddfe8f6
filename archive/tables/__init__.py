"""The canonical tables of the link record, and Batch."""

from __future__ import annotations

from archive.tables.batch import MOST_RECORDS, Batch, identical
from archive.tables.curves import CurveArrays, CurveBlock
from archive.tables.definition import Column, Table, namespace, no_rows, schema, tables, version
from archive.tables.ids import axis_id, axis_row, person_key, row_id, with_id
from archive.tables.lexical import number, numbers
from archive.tables.order import MOST_BYTES, concat, cut, ordered, pieces, rebatch

__all__ = [
    "MOST_BYTES",
    "MOST_RECORDS",
    "Batch",
    "Column",
    "CurveArrays",
    "CurveBlock",
    "Table",
    "axis_id",
    "axis_row",
    "concat",
    "cut",
    "identical",
    "namespace",
    "no_rows",
    "number",
    "numbers",
    "ordered",
    "person_key",
    "pieces",
    "rebatch",
    "row_id",
    "schema",
    "tables",
    "version",
    "with_id",
]
