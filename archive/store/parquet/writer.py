"""A deposit's tables as Parquet files in its bag, batch after batch, in memory that does not grow with the deposit."""

from __future__ import annotations

import json
from itertools import pairwise
from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from archive.store.bags import BagWriter
from archive.store.parquet import options
from archive.store.parquet.sweeps import RECORDS_PER_FILE, RECORDS_PER_GROUP, SweepFile, packed
from archive.tables import Batch, schema, tables
from archive.tables.order import positions

FOLDER = "tables"
ROWS_OF = 256
"""Records whose rows share a row group in the tables other than sweeps."""

_LAST_WINS = {"sources"}  # a file's account of cells is whole only when its last batch was read


def position_schema(name: str) -> Any:
    """Schema of a table's file: its columns and, where rows belong to records, the record's position before them."""
    wanted = schema(name)
    if "record_id" not in wanted.names:
        return wanted
    return wanted.insert(0, pa.field("position", pa.int32()))


class TableFiles:
    """The tables of a deposit being written into a bag."""

    def __init__(self, bag: BagWriter) -> None:
        self.bag = bag
        self.count = 0
        self._rows: dict[str, list[Any]] = {}
        self._held = 0
        self._writers: dict[str, Any] = {}
        self._shared: dict[str, dict[Any, dict[str, Any]]] = {}
        self._axes: set[str] = set()
        self._curves: list[tuple[Any, Any]] = []
        self._curve_records = 0
        self._sweeps: SweepFile | None = None
        self._sweeps_path = ""
        self._sweeps_records = 0

    def add(self, batch: Batch, sweeps: Any = None) -> None:
        """The next batch, in the order of its records (order.ordered). sweeps: its curves, where packed already."""
        for name, table in tables().items():
            rows = batch[name]
            if not rows.num_rows:
                continue
            if table.level == "shared":
                self._share(name, rows)
            elif name == "sweeps":
                continue
            else:
                self._rows.setdefault(name, []).append(self._placed(batch, name, rows))
        self._add_sweeps(batch, packed(batch["sweeps"]) if sweeps is None else sweeps)
        self.count += len(batch)
        self._held += len(batch)
        if self._held >= ROWS_OF:
            self._flush()

    def finish(self) -> None:
        """Writes what is held back, the shared tables and every footer."""
        self._flush()
        self._flush_curves(everything=True)
        self._close_sweeps()
        for name, rows in self._shared.items():
            listed = list(rows.values())
            wanted = schema(name)
            self._write(name, pa.table({f.name: pa.array([r[f.name] for r in listed], f.type) for f in wanted}, wanted))
        for name, writer in self._writers.items():
            writer.close()
            self.bag.close(f"{FOLDER}/{name}.parquet")

    def _placed(self, batch: Batch, name: str, rows: Any) -> Any:
        if "record_id" not in rows.column_names:
            return rows
        at = np.arange(len(batch)) if name == "records" else positions(batch, name)
        mask = at >= len(batch)
        place = pa.array((at + self.count).astype(np.int32), mask=mask)
        return rows.add_column(0, position_schema(name).field(0), place)

    def _share(self, name: str, rows: Any) -> None:
        held = self._shared.setdefault(name, {})
        key = tables()[name].key
        if name == "axes":
            new = pc.invert(pc.is_in(rows[key], value_set=pa.array(list(held), pa.string())))
            rows = rows.filter(new)
        for row in rows.to_pylist():
            content = key if name == "axes" or name in _LAST_WINS else None
            held[row[key] if content else json.dumps(row, default=str)] = row

    def _flush(self) -> None:
        for name, parts in self._rows.items():
            table = pa.concat_tables(parts).combine_chunks()
            if "position" not in table.column_names or table["position"].null_count:
                self._write(name, table)
                continue
            at = table["position"].to_numpy()
            marks = range(int(at[0]) // ROWS_OF * ROWS_OF + ROWS_OF, int(at[-1]) + 1, ROWS_OF)
            cuts = [0, *np.searchsorted(at, list(marks)).tolist(), len(at)]
            for low, high in pairwise(cuts):
                if high > low:
                    self._write(name, table.slice(low, high - low))
        self._rows.clear()
        self._held = 0

    def _write(self, name: str, table: Any) -> None:
        writer = self._writers.get(name)
        if writer is None:
            sink = self.bag.open(f"{FOLDER}/{name}.parquet")
            writer = self._writers[name] = options.writer(sink, position_schema(name))
        writer.write_table(table.cast(position_schema(name)))

    def _add_sweeps(self, batch: Batch, table: Any) -> None:
        """Cuts the batch's curves where a group of records or a file is full."""
        at = positions(batch, "sweeps") + self.count
        start = 0
        while start < len(batch):
            room = min(RECORDS_PER_GROUP - self._curve_records, len(batch) - start)
            low, high = np.searchsorted(at, [self.count + start, self.count + start + room])
            if high > low:
                self._curves.append((at[low:high], table.slice(low, high - low)))
            self._curve_records += room
            start += room
            if self._curve_records == RECORDS_PER_GROUP:
                self._flush_curves()

    def _flush_curves(self, *, everything: bool = False) -> None:
        if self._curves:
            at = np.concatenate([a for a, _ in self._curves])
            if self._sweeps is None:
                self._sweeps_path = f"{FOLDER}/sweeps-{int(at[0]):08d}.parquet"
                self._sweeps = SweepFile(self.bag.open(self._sweeps_path))
            self._sweeps.write(at, pa.concat_tables([t for _, t in self._curves]).combine_chunks())
        self._sweeps_records += self._curve_records
        self._curves, self._curve_records = [], 0
        if self._sweeps_records >= RECORDS_PER_FILE and not everything:
            self._close_sweeps()

    def _close_sweeps(self) -> None:
        if self._sweeps is not None:
            self._sweeps.close()
            self.bag.close(self._sweeps_path)
        self._sweeps, self._sweeps_records = None, 0
