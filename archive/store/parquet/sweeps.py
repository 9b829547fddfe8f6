"""The sweeps file: a row per curve, curves of 16 records at a time, each parameter in a row group of its own.

So one link is read by one row group per parameter, one parameter over all links by its own row groups alone, and
every row still says by itself what it is. A trial on simulated links (48 curves of 1,028 points) gave within 2 % the
same size as one column per parameter and as one file per parameter, and the same time for one link (7 ms of 400
links) and for one parameter (43 ms), with one file and no fixed list of parameters.
A file takes 1,000 records, so that its footer stays small; a larger deposit has several.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from archive.store.parquet import curves, options
from archive.tables import schema
from archive.tables.arrow import coded

RECORDS_PER_GROUP = 16
RECORDS_PER_FILE = 1_000

_PACKED = (
    pa.field("decimals", pa.int8()),
    pa.field("scaled", curves.SCALED),
    pa.field("values", curves.PLAIN),
)


def file_schema() -> Any:
    """Columns of the file: position of the record and number of the curve in it, then those of the sweeps table.

    In place of `values` stand decimals and scaled (value = scaled / 10^decimals), or values where it is no decimal.
    """
    fields = [pa.field("position", pa.int32(), nullable=False), pa.field("curve", pa.int32(), nullable=False)]
    for field in schema("sweeps"):
        fields.extend(_PACKED if field.name == "values" else [field])
    return pa.schema(fields)


class SweepFile:
    """One sweeps file being written. Rows must come in the order of their records."""

    def __init__(self, sink: Any) -> None:
        self._schema = file_schema()
        self._writer = options.writer(sink, self._schema, statistics=["position", "parameter"])

    def write(self, position: Any, table: Any) -> None:
        """Curves of at most RECORDS_PER_GROUP records, packed. position: record of each row, rising (int ndarray)."""
        starts = np.flatnonzero(np.diff(position, prepend=-1))
        curve = np.arange(len(position)) - np.repeat(starts, np.diff(np.append(starts, len(position))))
        parameter, origin = (coded(table.column(name))[1] for name in ("parameter", "origin"))
        order = np.lexsort((curve, position, origin, parameter))
        table = table.take(pa.array(order))
        for at, column in ((0, position[order]), (1, curve[order])):
            table = table.add_column(at, self._schema.field(at), pa.array(column.astype(np.int32)))
        kind = parameter[order] * 1_000 + origin[order]
        cuts = np.flatnonzero(np.diff(kind, prepend=-1)).tolist()
        for low, high in zip(cuts, [*cuts[1:], len(kind)], strict=True):
            self._writer.write_table(table.slice(low, high - low))

    def close(self) -> None:
        """Writes the footer."""
        self._writer.close()


def packed(table: Any) -> Any:
    """The sweeps table with decimals, scaled and values as the file has them, in place of its values."""
    made = dict(zip(("decimals", "scaled", "values"), curves.pack(table.column("values")), strict=True))
    fields = [f for f in file_schema() if f.name not in ("position", "curve")]
    return pa.table(
        [made.get(f.name, table[f.name] if f.name not in made else None) for f in fields], pa.schema(fields)
    )


def unpacked(table: Any) -> Any:
    """Rows of the file as the sweeps table, in the order of records and curves."""
    order = pc.sort_indices(table, sort_keys=[("position", "ascending"), ("curve", "ascending")])
    table = table.take(order).combine_chunks()
    values = curves.unpack(table["decimals"], table["scaled"], table["values"])
    wanted = schema("sweeps")
    return pa.table([values if f.name == "values" else table[f.name] for f in wanted], schema=wanted)
