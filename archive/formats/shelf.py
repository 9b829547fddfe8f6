"""Shared rows that an input has given so far, so that each batch can stand for itself."""

from __future__ import annotations

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

_ORDER = ("documents", "schedule", "links", "jobs", "axes", "instruments", "people", "sources", "places")
_MANY_PARTS = 64


class Shelf:
    """Rows of the shared tables, in the order in which they came.

    A row goes into the next batch that is taken, and into every later one whose rows refer to it.
    """

    def __init__(self) -> None:
        self._shelves = {name: _Rows(name) for name in _ORDER}

    def add(self, name: str, rows: Any) -> None:
        """Rows (Arrow table) of a shared table."""
        self._shelves[name].add(rows)

    def find(self, name: str, keys: Any) -> Any:
        """The rows of these keys (Arrow string array) of one shared table; None where there are none."""
        return self._shelves[name].find(set(pc.unique(keys).drop_null().to_pylist()))

    def take(self, batch: dict[str, Any]) -> dict[str, Any]:
        """Shared tables for a batch (its tables of records, rows and statements by name)."""
        out: dict[str, Any] = {}
        for name in _ORDER:
            there = {**batch, **out}
            named = [there[t].column(c) for t, c in REFERENCES.get(name, ()) if t in there]
            keys: set[str] = set()
            for column in named:
                keys.update(pc.unique(column).drop_null().to_pylist())
            rows = self._shelves[name].take(keys)
            if rows is not None:
                out[name] = rows
        return out


class _Rows:
    """Rows of one shared table: which are new, and where each key stands."""

    def __init__(self, name: str) -> None:
        self._key = tables()[name].key
        self._former = name == "places"
        self._parts: list[Any] = []
        self._where: dict[str, list[int]] = {}
        self._count = self._fresh = 0

    def add(self, rows: Any) -> None:
        for key in rows.column(self._key).to_pylist():
            self._where.setdefault(key, []).append(self._count)
            self._count += 1
        self._parts.append(rows)

    def take(self, keys: set[str]) -> Any:
        """New rows and the rows of these keys, in their order; None where there are none."""
        more = set(range(self._fresh, self._count)) | {i for key in keys for i in self._where.get(key, ())}
        wanted = set(more)
        while self._former and more:
            named = self._get(more).column("former_place_id").drop_null().to_pylist()
            more = {i for key in named for i in self._where.get(key, ())} - wanted
            wanted |= more
        self._fresh = self._count
        return self._get(wanted) if wanted else None

    def find(self, keys: set[str]) -> Any:
        found = {i for key in keys for i in self._where.get(key, ())}
        return self._get(found) if found else None

    def _get(self, at: set[int]) -> Any:
        if len(self._parts) > _MANY_PARTS:
            self._parts = [pa.concat_tables(self._parts).combine_chunks()]
        return pa.concat_tables(self._parts).take(pa.array(np.sort(np.fromiter(at, dtype=np.int64, count=len(at)))))
