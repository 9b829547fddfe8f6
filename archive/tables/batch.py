"""Batch: at most 1,000 records as the tables of the link record."""

from __future__ import annotations

import importlib
from collections.abc import Iterable, Iterator, Mapping
from functools import cached_property
from typing import Any

import pyarrow as pa
import pyarrow.compute as pc

from archive.tables.arrow import one_chunk
from archive.tables.curves import CurveArrays
from archive.tables.definition import no_rows, schema, tables

MOST_RECORDS = 1000
"""Records in one batch at the most."""

Rows = Mapping[str, Iterable[Mapping[str, Any]]]


class Batch:
    """At most 1,000 records as tables: batch["records"], batch["sweeps"] ... each a pyarrow.Table.

    Every table of the definition is there, possibly empty. A batch stands for itself: the shared rows (axes,
    instruments, people, places, sources) that its records refer to are in it. Rows of one record stand
    together, in the order of the records.
    Errors: ValueError where a table or a column is not of the definition, a column that must be set is not,
    or there are more than MOST_RECORDS records.
    """

    def __init__(self, given: Mapping[str, Any]) -> None:
        self._tables: dict[str, Any] = {}
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
        built: dict[str, Any] = {}
        for name, given in rows.items():
            if name not in tables():
                raise ValueError(f"there is no table {name!r}")
            want = schema(name)
            listed = list(given)
            known = set(want.names)
            for row in listed:
                if not known.issuperset(row):
                    raise ValueError(f"{name} has no column {sorted(set(row) - known)}")
            built[name] = pa.table(
                {f.name: pa.array([r.get(f.name) for r in listed], type=f.type) for f in want}, schema=want
            )
        return cls(built)

    def __getitem__(self, name: str) -> Any:
        return self._tables[name]

    def __len__(self) -> int:
        """Number of records."""
        return int(self._tables["records"].num_rows)

    def __iter__(self) -> Iterator[str]:
        return iter(self._tables)

    def items(self) -> Iterator[tuple[str, Any]]:
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
        out: dict[str, Any] = {}
        for name, table in self.items():
            if "record_id" in table.column_names:
                table = table.filter(pc.is_in(table.column("record_id"), value_set=wanted))
            out[name] = table
        return Batch(out)

    def write(self, path: Any, form: str = "xml", *, replace: bool = False) -> Any:
        """This batch as an open form: archive.formats.write, which says shapes and errors."""
        return _room("formats").write([self], path, form, replace=replace)

    def check(self, policy: Any = None) -> Any:
        """Findings of the rules on this batch: archive.validation.check, which says shapes and errors."""
        return _room("validation").check(self, policy=policy)

    def grade(self, against: Any = None, **more: Any) -> Any:
        """This batch with grades and verdicts: archive.grading.grade, which says shapes, units and errors."""
        return _room("grading").grade(self, against=against, **more)


def _room(name: str) -> Any:
    """A room above, for the doors that a person at the Python prompt looks for on a batch; loaded only then."""
    return importlib.import_module(f"archive.{name}")


def identical(a: Any, b: Any) -> bool:
    """True where two Arrow tables hold the same cells, telling 0.0 from -0.0; a list knows null from empty."""
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


def _reals(column: Any) -> Any:
    """The float64 numbers of a column as their bits, or None."""
    if pa.types.is_list(column.type):
        column = column.flatten()
    if not pa.types.is_float64(column.type):
        return None
    return pc.drop_null(column).view(pa.int64()) if len(column) else pa.array([], type=pa.int64())
