"""What every batch must satisfy beyond its types: the rules of the tables that a schema cannot express."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from archive.tables.arrow import one_chunk
from archive.tables.batch import Batch
from archive.tables.definition import Column, tables
from archive.tables.ids import axis_id

_FIRST, _LAST = -62_135_596_800_000, 253_402_300_799_999
"""Years 1 to 9999 in milliseconds: what a year of four digits can express."""


@dataclass(frozen=True)
class Breach:
    """One row that breaks a rule: table, row, its record ("" where it belongs to none), why."""

    table: str
    row: int
    record_id: str
    reason: str
    found: str = ""
    expected: str = ""


def sound(batch: Batch) -> Batch:
    """The batch itself. Errors: ValueError where a row breaks a rule, naming the first."""
    for breach in breaches(batch):
        raise ValueError(
            f"{breach.table}, row {breach.row + 1} {breach.record_id}: {breach.reason} {breach.found}".strip()
        )
    return batch


def breaches(batch: Batch) -> Iterator[Breach]:
    """Rows that break a rule, by table; a row may come more than once."""
    for name, table in batch.items():
        if not table.num_rows:
            continue
        for column in _checked(name):
            yield from _cells(name, column, table)
    yield from _records(batch)
    yield from _axes(batch)
    yield from _sweeps(batch)


@cache
def _checked(name: str) -> tuple[Column, ...]:
    """Columns of a table whose cells a schema does not hold to all their rules."""
    kinds = ("word", "real", "instant", "ints", "texts", "reals")
    return tuple(column for column in tables()[name].columns if column.kind in kinds)


def axis_fault(axes: pa.Table, row: int) -> str:
    """Why an axis cannot be used, "" where it can. row: of the table `axes`."""
    cells = {k: axes.column(k)[row] for k in ("frequencies_mhz", "distances_km")}
    kinds = [k for k, cell in cells.items() if cell.is_valid]
    name = axes.column("axis_id")[row].as_py()
    short = name[:12]
    if len(kinds) != 1:
        return f"axis {short} has {'both lists' if kinds else 'no list'}, not one of the two"
    points = cells[kinds[0]].values
    if points.null_count:
        return f"axis {short} has a missing point"
    values = points.to_numpy()
    if not np.isfinite(values).all():
        return f"axis {short} holds a number that is not finite"
    falls = np.flatnonzero(values[1:] <= values[:-1])
    if len(falls):
        i = int(falls[0])
        return f"axis {short} does not rise: {values[i + 1]:.10g} stands after {values[i]:.10g}"
    if axis_id(kinds[0], values) != name:
        return f"the id of axis {short} does not match its numbers"
    return ""


def _cells(name: str, column: Column, table: pa.Table) -> Iterator[Breach]:
    cells = one_chunk(table.column(column.name))
    if cells.null_count == len(cells):
        return
    if column.kind == "word":
        bad = pc.and_(pc.is_valid(cells), pc.invert(pc.is_in(cells, value_set=_word_set(column.words))))
        yield from _failing(name, column, table, bad, f"{column.name} is no word of {column.vocabulary}")
    elif column.kind == "real":
        yield from _failing(
            name, column, table, pc.invert(pc.is_finite(cells)), f"{column.name} is not a finite number"
        )
    elif column.kind == "instant":
        stamps = pc.cast(cells, pa.int64())
        bad = pc.or_(pc.less(stamps, _FIRST), pc.greater(stamps, _LAST))
        yield from _failing(name, column, table, bad, f"{column.name} is not within the years 1 to 9999")
    elif column.kind in ("ints", "texts", "reals"):
        items = cells.flatten()
        bad = pc.invert(pc.is_finite(items)) if column.kind == "reals" else pc.is_null(items)
        if pc.any(bad).as_py():
            rows = pc.list_parent_indices(cells).filter(pc.fill_null(bad, False)).unique().to_pylist()
            what = "a number that is not finite" if column.kind == "reals" else "a missing item"
            yield from (_breach(name, table, r, f"{column.name} holds {what}") for r in rows)


@cache
def _word_set(words: frozenset[str]) -> pa.Array:
    return pa.array(sorted(words))


def _failing(name: str, column: Column, table: pa.Table, bad: pa.Array, reason: str) -> Iterator[Breach]:
    if not pc.any(bad).as_py():
        return
    for row in np.flatnonzero(np.asarray(pc.fill_null(bad, False))):
        yield _breach(name, table, int(row), reason, _as_text(table.column(column.name)[int(row)]))


def _as_text(cell: pa.Scalar) -> str:
    """A cell as text for messages; pyarrow raises for a date that Python cannot represent."""
    try:
        return str(cell.as_py())
    except (OverflowError, ValueError):
        return f"{cell.value} ms from 1970"


def _breach(name: str, table: pa.Table, row: int, reason: str, found: str = "", expected: str = "") -> Breach:
    record = table.column("record_id")[row].as_py() if "record_id" in table.column_names else None
    return Breach(name, row, record or "", reason, found, expected)


def _records(batch: Batch) -> Iterator[Breach]:
    ids = one_chunk(batch["records"].column("record_id"))
    if pc.count_distinct(ids).as_py() != len(ids):
        seen: set[str] = set()
        for row, name in enumerate(ids.to_pylist()):
            if name in seen:
                yield Breach("records", row, name, "a record with this id stands before it", name, "each id once")
            seen.add(name)
    for name, table in batch.items():
        if tables()[name].level == "record" and name != "records" and table.num_rows:
            lost = pc.invert(pc.is_in(one_chunk(table.column("record_id")), value_set=ids))
            yield from _failing(
                name, tables()[name].column("record_id"), table, lost, "the row names a record that is not there"
            )


def _axes(batch: Batch) -> Iterator[Breach]:
    for row in range(batch["axes"].num_rows):
        if fault := axis_fault(batch["axes"], row):
            yield Breach("axes", row, "", fault)


def _sweeps(batch: Batch) -> Iterator[Breach]:
    table = batch["sweeps"]
    if not table.num_rows:
        return
    axes = batch["axes"]
    sizes = pc.coalesce(
        pc.list_value_length(axes.column("frequencies_mhz")), pc.list_value_length(axes.column("distances_km"))
    )
    at = pc.index_in(one_chunk(table.column("axis_id")), value_set=one_chunk(axes.column("axis_id")))
    yield from _failing(
        "sweeps",
        tables()["sweeps"].column("axis_id"),
        table,
        pc.is_null(at),
        "the sweep names an axis that is not there",
    )
    expected = pc.take(one_chunk(sizes), at)
    found = pc.list_value_length(one_chunk(table.column("values")))
    wrong = np.flatnonzero(np.asarray(pc.fill_null(pc.not_equal(found, expected), False)))
    for row in wrong:
        have, want = found[int(row)].as_py(), expected[int(row)].as_py()
        reason = f"sweep {_named(table, int(row))} has {have} values for {want} points of its axis"
        yield _breach("sweeps", table, int(row), reason, str(have), str(want))
    for key in ("above", "below"):
        yield from _indices(table, key, found)


def _indices(table: pa.Table, key: str, lengths: pa.Array) -> Iterator[Breach]:
    cells = one_chunk(table.column(key))
    if cells.null_count == len(cells):
        return
    items, rows = cells.flatten(), pc.list_parent_indices(cells)
    bad = pc.or_(pc.less(items, 0), pc.greater_equal(items, pc.take(lengths, rows)))
    for row in rows.filter(pc.fill_null(bad, False)).unique().to_pylist():
        yield _breach("sweeps", table, row, f"sweep {_named(table, row)}: {key} names a point that it has not")


def _named(table: pa.Table, row: int) -> str:
    parts = [table.column(c)[row].as_py() for c in ("parameter", "end", "pairing")]
    return " ".join(p for p in parts if p)
