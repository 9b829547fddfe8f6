"""Shared rows that a document has given so far, so that each batch can stand for itself."""

from __future__ import annotations

from typing import Any

import pyarrow as pa
import pyarrow.compute as pc

from archive.tables import axis_id, tables

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
        ("places", "former_place_id"),
    ),
    "instruments": (("records", "local_instrument_id"), ("records", "remote_instrument_id")),
    "people": (("records", "operator_key"),),
    "sources": (("records", "source_id"), ("set_aside", "source_id")),
}
"""Where the key of a shared table is used."""


class Shelf:
    """Rows of the shared tables, in the order in which they came.

    A row goes into the next batch that is taken, and into every later one whose rows refer to it.
    """

    def __init__(self) -> None:
        self._parts: dict[str, list[Any]] = {}
        self._new: dict[str, int] = {}
        self._all: dict[str, Any] = {}

    def add(self, name: str, rows: Any) -> None:
        """Rows (Arrow table) of a shared table."""
        if rows.num_rows:
            self._parts.setdefault(name, []).append(rows)
            self._new[name] = self._new.get(name, 0) + rows.num_rows

    def take(self, batch: dict[str, Any]) -> dict[str, Any]:
        """Shared tables for a batch (tables of records, rows and statements by name)."""
        out: dict[str, Any] = {}
        # Places name former places; links and schedule name places: what refers is looked at first.
        for name in ("documents", "schedule", "links", "jobs", "axes", "instruments", "people", "sources", "places"):
            rows = self._rows(name)
            if rows is not None:
                keep = self._wanted(name, rows, {**batch, **out})
                out[name] = rows.filter(keep) if not pc.all(keep).as_py() else rows
        self._new = {}
        return out

    def _rows(self, name: str) -> Any:
        parts = self._parts.pop(name, [])
        if parts:
            held = self._all.get(name)
            self._all[name] = pa.concat_tables([*([held] if held is not None else []), *parts]).combine_chunks()
        return self._all.get(name)

    def _wanted(self, name: str, rows: Any, batch: dict[str, Any]) -> Any:
        fresh = rows.num_rows - self._new.get(name, 0)
        new = pa.array([i >= fresh for i in range(rows.num_rows)])
        keys = rows.column(tables()[name].key).combine_chunks()
        used = [batch[t].column(c) for t, c in REFERENCES.get(name, ()) if t in batch and t != name]
        if used:
            named = pa.concat_arrays([c for u in used for c in u.chunks]) if any(u.num_chunks for u in used) else None
            if named is not None:
                new = pc.or_(new, pc.is_in(keys, value_set=pc.unique(named).drop_null()))
        if name == "places":
            new = _with_former(rows, keys, new)
        return new


def _with_former(rows: Any, keys: Any, wanted: Any) -> Any:
    """The rows wanted and the rows with their former names, however many times renamed."""
    former = rows.column("former_place_id").combine_chunks()
    while True:
        more = pc.or_(wanted, pc.is_in(keys, value_set=former.filter(wanted).drop_null()))
        if more.equals(wanted):
            return wanted
        wanted = more


def axis_fault(row: dict[str, Any]) -> str:
    """Why an axis cannot be used, "" where it can. row: axis_id, frequencies_mhz, distances_km as lists or null."""
    kinds = [k for k in ("frequencies_mhz", "distances_km") if row[k] is not None]
    if len(kinds) != 1:
        return f"axis {row['axis_id'][:12]} has {'both lists' if kinds else 'no list'}, not one of the two"
    values = row[kinds[0]]
    if any(v is None for v in values):
        return f"axis {row['axis_id'][:12]} has a missing point"
    for i in range(1, len(values)):
        if values[i] <= values[i - 1]:
            return f"axis {row['axis_id'][:12]} does not rise: {values[i]:.10g} stands after {values[i - 1]:.10g}"
    if axis_id(kinds[0], values) != row["axis_id"]:
        return f"the id of axis {row['axis_id'][:12]} does not match its numbers"
    return ""
