"""Shared rows that an input has given so far, so that each batch can stand for itself."""

from __future__ import annotations

import tempfile
from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from archive.tables import tables

REFERENCES: dict[str, tuple[tuple[str, str], ...]] = {
    "axes": (("sweeps", "axis_id"),),
    "jobs": (("records", "job_id"), ("links", "job_id"), ("schedule", "job_id")),
    "places": (
        ("records", "local_place_id"),
        ("records", "remote_place_id"),
        ("links", "local_place_id"),
        ("links", "remote_place_id"),
        ("schedule", "local_place_id"),
        ("schedule", "remote_place_id"),
    ),
    "instruments": (("records", "local_instrument_id"), ("records", "remote_instrument_id")),
    "people": (("records", "operator_key"),),
    "sources": (("records", "source_id"), ("set_aside", "source_id")),
}
"""Where the key of a shared table is used by rows of other tables. A place names its former place, too."""

_MANY = 32
"""Small parts that are joined into one."""

_ORDER = ("documents", "schedule", "links", "jobs", "axes", "instruments", "people", "sources", "places")

MOST_HELD = 16_000_000
"""Bytes of one shared table that are kept in memory; older rows wait in a temporary folder."""

MOST_NEW = 5000
"""Rows of one shared table that come new with one batch, unless it refers to more; at most about MOST_HELD bytes."""


class SharedRows:
    """Rows of the shared tables, in the order in which they came.

    A row comes once as new, in its turn, and with every batch whose rows refer to it.
    """

    def __init__(self) -> None:
        self._shelves = {name: _Rows(name) for name in _ORDER}

    def add(self, name: str, rows: Any) -> None:
        """Rows (Arrow table) of a shared table."""
        self._shelves[name].add(rows)

    def find(self, name: str, keys: Any) -> Any:
        """The rows of these keys (Arrow string array) of one shared table; None where there are none."""
        return self._shelves[name].get(_distinct([keys]), 0, 0)

    def take(self, batch: dict[str, Any]) -> dict[str, Any]:
        """Shared tables for a batch (its tables of records, rows and statements by name)."""
        out: dict[str, Any] = {}
        for name in _ORDER:
            there = {**batch, **out}
            keys = _distinct([there[t].column(c) for t, c in REFERENCES.get(name, ()) if t in there])
            rows = self._shelves[name].take(keys)
            if rows is not None:
                out[name] = rows
        return out

    @property
    def left(self) -> bool:
        """Whether there are rows that did not come yet."""
        return any(rows.left for rows in self._shelves.values())


def _distinct(columns: list[Any]) -> Any:
    """Distinct keys of some columns, without null."""
    parts = [pc.unique(c).drop_null() for c in columns]
    return pc.unique(pa.concat_arrays(parts)) if parts else pa.array([], type=pa.string())


class _Rows:
    """Rows of one shared table, in parts."""

    def __init__(self, name: str) -> None:
        self._key = tables()[name].key
        self._former = name == "places"
        self._referred = name in REFERENCES
        self._parts: list[_Part] = []
        self._given = self._count = 0

    @property
    def left(self) -> bool:
        return self._given < self._count

    def add(self, rows: Any) -> None:
        if not rows.num_rows:
            return
        self._parts.append(_Part(rows.combine_chunks(), self._key, self._count))
        self._count += rows.num_rows
        loose = [p for p in self._parts if p.held is not None]
        if len(loose) > _MANY or sum(p.held.nbytes for p in loose) > MOST_HELD:
            joined = _Part(pa.concat_tables([p.held for p in loose]).combine_chunks(), self._key, loose[0].first)
            if joined.held.nbytes > MOST_HELD // 2:
                joined.put_away()
            self._parts = [*self._parts[: -len(loose)], joined]

    def take(self, keys: Any) -> Any:
        """The next new rows and the rows of these keys, in their order; None where there are none."""
        start, stop = self._given, self._next()
        if self._former:
            keys = self._with_former(keys, start, stop)
        rows = self.get(keys, start, stop)
        self._given = stop
        if not self._referred:
            self._parts = [p for p in self._parts if p.first + p.count > stop]
        return rows

    def get(self, keys: Any, start: int, stop: int) -> Any:
        """Rows of these keys, and the rows numbered from start to stop, in their order; None where there are none."""
        hashes = _hashes(keys)
        found = [p.rows(keys, start, stop) for p in self._parts if p.may_hold(hashes, start, stop)]
        found = [t for t in found if t.num_rows]
        return pa.concat_tables(found) if found else None

    def _next(self) -> int:
        """Where the new rows of this batch end."""
        stop, size = self._given, 0.0
        for part in self._parts:
            low, high = max(part.first, self._given), min(part.first + part.count, self._given + MOST_NEW)
            if low < high and size < MOST_HELD:
                fitting = max(1, int((MOST_HELD - size) / part.bytes_per_row))
                stop = min(high, low + fitting)
                size += (stop - low) * part.bytes_per_row
                if stop < high:
                    break
        return stop

    def _with_former(self, keys: Any, start: int, stop: int) -> Any:
        """The keys, and the keys of former names of their places and of new places, however often renamed."""
        wanted, rows = keys, self.get(keys, start, stop)
        while rows is not None:
            named = _distinct([rows.column("former_place_id")])
            more = named.filter(pc.invert(pc.is_in(named, value_set=wanted)))
            if not len(more):
                break
            wanted, rows = pa.concat_arrays([wanted, more]), self.get(more, 0, 0)
        return wanted


class _Part:
    """Some rows: held in memory, or in a file with only the hashes of their keys held. first: number of the first."""

    def __init__(self, rows: Any, key: str, first: int) -> None:
        self.held: Any = rows
        self.first, self.count = first, rows.num_rows
        self.bytes_per_row = max(rows.nbytes / rows.num_rows, 1.0)
        self._key = key
        self._hashes = np.sort(_hashes(rows.column(key)))
        self._file: Any = None

    def may_hold(self, hashes: Any, start: int, stop: int) -> bool:
        """Whether one of these keys may be here, or a row with a number from start to stop is."""
        within = start < self.first + self.count and stop > self.first and start < stop
        return within or bool(len(hashes) and np.isin(hashes, self._hashes).any())

    def rows(self, keys: Any, start: int, stop: int) -> Any:
        """Its rows with these keys, and those with a number from start to stop."""
        table = self._table()
        mask = pc.is_in(table.column(self._key), value_set=keys)
        number = np.arange(self.first, self.first + self.count)
        return table.filter(pc.or_(mask, pa.chunked_array([pa.array((number >= start) & (number < stop))])))

    def put_away(self) -> None:
        """Into a file that is gone when this object is."""
        self._file = tempfile.NamedTemporaryFile(prefix="muniment-", suffix=".arrow")  # noqa: SIM115
        with pa.ipc.new_file(self._file.name, self.held.schema) as writer:
            writer.write_table(self.held)
        self.held = None

    def _table(self) -> Any:
        if self.held is not None:
            return self.held
        with pa.OSFile(self._file.name, "rb") as source, pa.ipc.open_file(source) as reader:
            return reader.read_all()


def _hashes(keys: Any) -> Any:
    return np.fromiter((hash(k) for k in keys.to_pylist()), dtype=np.int64, count=len(keys))
