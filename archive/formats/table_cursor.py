"""One table of a form, read in step with the records."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from archive.formats.seen_ids import NOT_THERE, SeenIds
from archive.tables import no_rows, tables

ROW = "#row"
"""Extra column of a part: number of the row in its file, from 0."""


@dataclass(frozen=True)
class RowFault:
    """A row that cannot be taken as it is: table, row in its file (from 0), its record (None: of no record), why."""

    table: str
    row: int
    record_id: str | None
    reason: str
    found: str = ""
    expected: str = ""


@dataclass(frozen=True)
class TablePart:
    """Some rows of a table, typed, with the column ROW; cells that could not be taken are null and listed as faults."""

    table: Any
    faults: list[RowFault]


class Positions:
    """Where each record stands, from 0; `twice`: ids that stand more than once."""

    def __init__(self, ids: Iterable[Any]) -> None:
        self._at = SeenIds()
        self.twice: set[str] = set()
        number = 0
        for part in ids:
            names = part.to_pylist()
            known = self._at.numbers([n or "" for n in names])
            mine: set[str] = set()
            for name, before in zip(names, known, strict=True):
                if name is not None and (before != NOT_THERE or name in mine):
                    self.twice.add(name)
                elif name is not None:
                    self._at.put(name, number)
                    mine.add(name)
                number += 1

    def of(self, ids: Any) -> Any:
        """Positions of these records (Arrow string array) as int64 ndarray; -1 for one that is not there, or null."""
        codes = pc.dictionary_encode(ids)
        if isinstance(codes, pa.ChunkedArray):
            codes = codes.combine_chunks()
        known = np.append(self._at.numbers(codes.dictionary.to_pylist()), NOT_THERE)
        indices: Any = np.asarray(pc.fill_null(codes.indices, len(known) - 1))
        return known[indices]


class TableCursor:
    """Rows of one table in the order of the records, taken up to a position. `faults` gathers what was found bad."""

    def __init__(self, name: str, parts: Iterator[TablePart], positions: Positions) -> None:
        self.faults: list[RowFault] = []
        self._name, self._parts, self._positions = name, parts, positions
        self._of_record = tables()[name].level == "record"
        self._rows: list[Any] = []
        self._at: list[Any] = []
        self._last = 0

    def upto(self, start: int, stop: int, most_bytes: int | None = None) -> tuple[Any, int]:
        """Rows of the records before position `stop`, and that position: lower where their curves are too many.

        At least the rows of the record at `start` come.
        """
        while self._last < stop and self._pull():
            if most_bytes is not None and (cut := self._cut(most_bytes)) is not None:
                stop = min(stop, max(cut, start + 1))
        if most_bytes is not None and (cut := self._cut(most_bytes)) is not None:
            stop = min(stop, max(cut, start + 1))
        return self._take(stop), stop

    def rest(self) -> Any:
        """All rows that are left."""
        while self._pull():
            pass
        return self._take(None)

    def _pull(self) -> bool:
        part = next(self._parts, None)
        if part is None:
            self._last = 2**62
            return False
        self.faults += part.faults
        table = part.table
        if part.faults and not self._of_record:
            bad = pa.array([f.row for f in part.faults], type=pa.int64())
            table = table.filter(pc.invert(pc.is_in(table.column(ROW), value_set=bad)))
        at = self._positions.of(table.column("record_id"))
        if self._of_record and (at < 0).any():
            # A row with a fault of its own may lack its record; it is reported once.
            told = {f.row for f in part.faults}
            for row in table.filter(pa.array(at < 0)).select([ROW, "record_id"]).to_pylist():
                if row[ROW] not in told:
                    why = "the row names a record that is not there"
                    self.faults.append(RowFault(self._name, row[ROW], None, why, str(row["record_id"])))
            table, at = table.filter(pa.array(at >= 0)), at[at >= 0]
        if len(at):
            # Statements of no record stay where they stand.
            at = np.maximum.accumulate(np.maximum(at, self._last))
            self._last = int(at[-1])
            self._rows.append(table)
            self._at.append(at)
        return True

    def _cut(self, most_bytes: int) -> int | None:
        """Position of the record in which the curves pass so many bytes."""
        if not self._rows:
            return None
        lengths = np.concatenate([np.asarray(pc.list_value_length(t.column("values"))) for t in self._rows])
        over = int(np.searchsorted(np.cumsum(lengths * 8), most_bytes, side="right"))
        return int(np.concatenate(self._at)[over]) if over < len(lengths) else None

    def _take(self, stop: int | None) -> Any:
        if not self._rows:
            return no_rows(self._name).append_column(ROW, pa.array([], type=pa.int64()))
        table, at = pa.concat_tables(self._rows), np.concatenate(self._at)
        count = len(at) if stop is None else int(np.searchsorted(at, stop))
        left = table.slice(count)
        self._rows, self._at = ([left], [at[count:]]) if left.num_rows else ([], [])
        return table.slice(0, count)
