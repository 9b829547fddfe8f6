"""Batch: at most 1,000 records as the tables of the link record."""

from __future__ import annotations

import importlib
from collections.abc import Iterable, Iterator, Mapping
from functools import cached_property, lru_cache
from typing import Any

import pyarrow as pa
import pyarrow.compute as pc

from archive.tables.arrow import one_chunk
from archive.tables.curves import CurveArrays
from archive.tables.definition import no_rows, schema, tables

MOST_RECORDS = 1000
"""Largest number of records in one batch."""

Rows = Mapping[str, Iterable[Mapping[str, Any]]]


class Batch:
    """At most 1,000 records as tables: batch["records"], batch["sweeps"] ... each a pyarrow.Table.

    Every table of the definition is there, possibly empty. A batch is complete in itself: it has the shared rows
    (axes, instruments, people, places, sources) that its records refer to. Rows of one record are together, in the
    order of the records.
    Errors: ValueError where a table or a column is not of the definition, a column that must be set is not,
    or there are more than MOST_RECORDS records.
    """

    def __init__(self, given: Mapping[str, pa.Table]) -> None:
        self._tables: dict[str, pa.Table] = {}
        for name in given:
            if name not in tables():
                raise ValueError(f"there is no table {name!r}")
        for name in tables():
            table = given.get(name)
            if table is None:
                self._tables[name] = no_rows(name)
                continue
            want = schema(name)
            if table.schema != want:
                table = table.select(want.names).cast(want)
            for field in want:
                if not field.nullable and table.column(field.name).null_count:
                    raise ValueError(f"{name}.{field.name} must be set in every row")
            self._tables[name] = table
        if len(self) > MOST_RECORDS:
            raise ValueError(f"a batch holds {MOST_RECORDS} records at the most, not {len(self)}")

    @classmethod
    def from_rows(cls, rows: Rows) -> Batch:
        """A batch from rows given as dicts; a column that a dict leaves out is null.

        Errors: ValueError for an unknown table or column; pyarrow.ArrowInvalid for a value of another type.
        """
        built: dict[str, pa.Table] = {}
        for name, given in rows.items():
            if name not in tables():
                raise ValueError(f"there is no table {name!r}")
            want = schema(name)
            listed = list(given)
            given_columns = set().union(*listed)
            if unknown := given_columns.difference(want.names):
                raise ValueError(f"{name} has no column {sorted(unknown)}")
            cells = [
                pa.array([r.get(f.name) for r in listed], type=f.type)
                if f.name in given_columns
                else _nulls(len(listed), f.type)
                for f in want
            ]
            built[name] = pa.Table.from_arrays(cells, schema=want)
        return cls(built)

    def __getitem__(self, name: str) -> pa.Table:
        return self._tables[name]

    def __len__(self) -> int:
        """Number of records."""
        return int(self._tables["records"].num_rows)

    def __iter__(self) -> Iterator[str]:
        return iter(self._tables)

    def items(self) -> Iterator[tuple[str, pa.Table]]:
        """Pairs of table name and table, in the order of the definition."""
        return iter(self._tables.items())

    def equals(self, other: Batch) -> bool:
        """True where every table holds the same cells, bit for bit (minus zero is not zero)."""
        return all(identical(t, other[name]) for name, t in self.items())

    @cached_property
    def curves(self) -> CurveArrays:
        """The sweeps as arrays, laid out once for everyone who looks at this batch."""
        return CurveArrays(self)

    def replace(self, **changed: pa.Table) -> Batch:
        """A batch with some tables replaced. Arrays of its curves that were laid out already go with it."""
        made = Batch({**self._tables, **changed})
        ids = (batch["records"].column("record_id") for batch in (self, made))
        if "curves" in self.__dict__ and not changed.keys() & {"sweeps", "axes"} and next(ids).equals(next(ids)):
            made.__dict__["curves"] = self.curves
        return made

    def select(self, record_ids: Iterable[str]) -> Batch:
        """The named records with their rows and statements; shared rows stay."""
        wanted = pa.array(sorted(set(record_ids)), type=pa.string())
        out: dict[str, pa.Table] = {}
        for name, table in self.items():
            if "record_id" in table.column_names:
                table = table.filter(pc.is_in(table.column("record_id"), value_set=wanted))
            out[name] = table
        return Batch(out)

    def write(self, path: Any, form: str = "xml", *, replace: bool = False) -> Any:
        """Writes this batch as an open form. Shapes and errors: archive.formats.write."""
        return _room("formats").write([self], path, form, replace=replace)

    def check(self, policy: Any = None) -> Any:
        """Findings of the rules on this batch. Shapes and errors: archive.validation.check."""
        return _room("validation").check(self, policy=policy)

    def grade(self, against: Any = None, **more: Any) -> Any:
        """This batch with grades and verdicts. Shapes, units and errors: archive.grading.grade."""
        return _room("grading").grade(self, against=against, **more)


@lru_cache(maxsize=256)
def _nulls(count: int, kind: pa.DataType) -> pa.Array:
    """A column without a value. Arrays are never changed, so that one stands for all."""
    return pa.nulls(count, kind)


def _room(name: str) -> Any:
    """A package above this one, for the methods that users expect on a batch; imported only when they are called."""
    return importlib.import_module(f"archive.{name}")


def identical(a: pa.Table, b: pa.Table) -> bool:
    """True where two Arrow tables have the same cells; 0.0 differs from -0.0, and a null list from an empty one."""
    if a.schema != b.schema or a.num_rows != b.num_rows:
        return False
    for name in a.column_names:
        x, y = one_chunk(a.column(name)), one_chunk(b.column(name))
        if not x.equals(y):
            return False
        u, v = _reals(x), _reals(y)
        if u is not None and not u.equals(v):
            return False
    return True


def _reals(column: pa.Array) -> pa.Array | None:
    """The float64 numbers of a column, or of its lists, as their bits (int64, nulls left out); None for other types."""
    if pa.types.is_list(column.type):
        column = column.flatten()
    if not pa.types.is_float64(column.type):
        return None
    return pc.drop_null(column).view(pa.int64()) if len(column) else pa.array([], type=pa.int64())
