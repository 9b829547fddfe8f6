"""Margins of single parameters as columns of a search, from the files that counting keeps ready."""

from __future__ import annotations

import threading
from collections import OrderedDict

import numpy as np
from numpy.typing import NDArray

from archive.store import Archive
from archive.store.counting.blocks import Counting, counting

_KEPT = 8
"""Columns that are kept in memory: 4 bytes for each record."""


class Measured:
    """Margins by row of the catalogue, for all threads of a room."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._files: Counting | None = None
        self._columns: OrderedDict[str, NDArray[np.float32]] = OrderedDict()

    def prepare(self, archive: Archive) -> None:
        """Brings the files up to the ledger. Errors: Trouble where the archive is damaged."""
        with self._lock:
            self._bring_up(archive)

    def parameters(self, archive: Archive) -> tuple[str, ...] | None:
        """Parameters that a record was graded at; None while that is being worked out."""
        if not self._lock.acquire(timeout=1.0):
            return None
        try:
            return self._bring_up(archive).parameters
        finally:
            self._lock.release()

    def margins(self, archive: Archive, parameter: str) -> NDArray[np.float32] | None:
        """Worst margin of a parameter by row, NaN for none; None while that is being worked out."""
        if not self._lock.acquire(timeout=1.0):
            return None
        try:
            files = self._bring_up(archive)
            if parameter not in self._columns and parameter in files.parameters:
                self._columns[parameter] = _read(files, parameter)
                while len(self._columns) > _KEPT:
                    self._columns.popitem(last=False)
            return self._columns.get(parameter)
        finally:
            self._lock.release()

    def _bring_up(self, archive: Archive) -> Counting:
        files = counting(archive)
        if files != self._files:
            self._files = files
            self._columns.clear()
        return files


def _read(files: Counting, parameter: str) -> NDArray[np.float32]:
    import pyarrow.parquet as pq

    name = f"margin_{parameter}"
    parts = []
    for path in files.records:
        there = name in pq.read_schema(path).names
        table = pq.read_table(path, columns=["row", name] if there else ["row"])
        rows = table["row"].to_numpy()
        values = table[name].to_numpy() if there else np.full(len(rows), np.nan, np.float32)
        parts.append((rows, values))
    out = np.full(max((int(rows.max()) + 1 for rows, _ in parts if len(rows)), default=0), np.nan, np.float32)
    for rows, values in parts:
        out[rows] = values
    return out
