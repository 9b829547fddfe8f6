"""What a record can prove, and which medium it speaks of."""

from __future__ import annotations

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from archive.formats.mapping.build.table_parts import TableParts
from archive.tables.arrow import Bools
from archive.vocabulary import cables

_WORDS = ("verdict-only", "worst-points", "full-sweep", "optical-loss", "optical-trace")
_OPTICAL = (
    "optical_loss",
    "optical_return_loss",
    "optical_power",
    "optical_delay",
    "backscatter",
    "trace_loss",
    "end_face",
)


def evidence(n: int, parts: TableParts) -> pa.Array:
    """Of n records, as Arrow text: full-sweep where measured, derived or rebuilt curves are there (optical-trace where
    they are of backscatter), optical-loss where measured losses of fibres are; worst-points where values came without
    either; else verdict-only."""
    level = np.zeros(n, dtype=np.int64)
    for record, columns in parts.parts.get("readings", []):
        np.maximum.at(level, record, 1)
        if columns["quantity"] == "optical_loss":
            level[record[~_among(columns["origin"], ("measured",), len(record))]] = 3
    for record, columns in parts.parts.get("reported", []):
        for name in ("value", "margin"):
            values = columns.get(name)
            if values is not None:
                at = record[~np.isnan(values)]
                level[at] = np.maximum(level[at], 1)
    for record, columns in parts.parts.get("sweeps", []):
        swept = _among(columns["origin"], ("limit", "margin"), len(record))
        level[record[swept]] = 4 if columns["parameter"] == "backscatter" else 2
    return pa.array(_WORDS).take(pa.array(level))


def _among(origin: str | pa.Array, named: tuple[str, ...], n: int) -> Bools:
    """Boolean array: the origin is none of the named ones."""
    if isinstance(origin, str):
        return np.full(n, origin not in named)
    return ~np.asarray(pc.is_in(origin, value_set=pa.array(named)))


def media(n: int, parts: TableParts, cable_type: pa.Array) -> pa.Array:
    """copper or fiber of n records, by what was measured, else by the cable; null where neither says."""
    found = np.full(n, None, dtype=object)
    types = cable_type.to_pylist()
    for i, name in enumerate(types):
        cable = cables.known(name)
        if {"class", "construction", "gauge"} & cable.keys():
            optical = cable.get("class", "").startswith("o") or cable.get("gauge", "awg")[0].isdigit()
            found[i] = "fiber" if optical else "copper"
    for table, column in (("readings", "quantity"), ("reported", "parameter"), ("sweeps", "parameter")):
        for record, columns in parts.parts.get(table, []):
            name = columns[column]
            if name in _OPTICAL:
                found[record] = "fiber"
            elif name not in ("length", "temperature", "velocity", "polarity"):
                found[record] = "copper"
    return (
        pc.fill_null(pa.array(found.tolist(), type=pa.string()), pa.scalar(None, pa.string()))
        if n
        else pa.nulls(0, pa.string())
    )
