"""A deposit's tables read from its bag: all of them, some records of them, or one column over all."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from functools import cached_property
from itertools import groupby
from pathlib import Path
from typing import Any

import pyarrow as pa
import pyarrow.compute as pc

from archive.store.parquet import curves as packing
from archive.store.parquet import options, sweeps
from archive.store.parquet.writer import FOLDER
from archive.tables import Batch, no_rows, schema, tables
from archive.tables.order import cut

_BATCH = 128
"""Records of a batch that is read: fully swept ones take some 50 MB then."""

_NAMING = ("position", "end", "pairing", "axis_id")

_REFERRED = {
    "axes": ("axis_id", [("sweeps", "axis_id")]),
    "instruments": ("instrument_id", [("records", "local_instrument_id"), ("records", "remote_instrument_id")]),
    "people": ("person_key", [("records", "operator_key")]),
    "places": ("place_id", [("records", "local_place_id"), ("records", "remote_place_id")]),
    "jobs": ("job_id", [("records", "job_id")]),
    "sources": ("source_id", [("records", "source_id")]),
    "links": ("label", [("records", "link_label")]),
}
"""Shared table -> its column, and the columns of the batch that name its rows."""


class BagTables:
    """The tables of one bag. Every page is read with its checksum. Errors of all methods: Trouble for damaged files."""

    def __init__(
        self,
        bag: Path,
        digests: Mapping[Path, str] | None = None,
        check: Callable[[Path, str], object] | None = None,
        instead: Mapping[str, Path] | None = None,
    ) -> None:
        """digests: SHA-256 of the files that make up the tables; others are none of them. check: compares a file with
        its digest before it is read, and raises where it is another. instead: files that replaced redacted tables, by
        name of the table. Without digests the folder is read as it is."""
        self.folder = bag / "data" / FOLDER
        self._digests, self._check = digests, check
        self._instead = dict(instead or {})
        self._files: dict[Path, Any] = {}
        self._shared: dict[str, Any] = {}

    @cached_property
    def count(self) -> int:
        """Number of records."""
        if not self.has("records"):
            return 0
        return int(self.file("records").metadata.num_rows)

    def path(self, name: str) -> Path:
        """File of a table other than sweeps; it is not there where the table is empty."""
        return self._instead.get(name) or self.folder / f"{name}.parquet"

    @property
    def index(self) -> Path:
        """File of the deposit's index."""
        return self.folder.parent / "index.parquet"

    def has(self, name: str) -> bool:
        """Whether a table other than sweeps has a file."""
        path = self.path(name)
        return path.is_file() if self._digests is None else path in self._digests

    def file(self, name: str) -> Any:
        """The opened Parquet file of a table."""
        return self.opened(self.path(name))

    def opened(self, path: Path) -> Any:
        """One of the files that make up the tables, opened; compared with its digest before."""
        if path not in self._files:
            self.check(path)
            self._files[path] = options.open_file(path)
        return self._files[path]

    def check(self, path: Path) -> None:
        """Compares one of the files with its digest, for whoever reads it elsewhere."""
        if self._digests is not None and self._check is not None:
            self._check(path, self._digests[path])

    @cached_property
    def sweep_files(self) -> list[tuple[int, Path]]:
        """Sweeps files with the position of the first record in each."""
        there = self.folder.glob("*.parquet") if self._digests is None else self._digests
        found = sorted(p for p in there if p.parent == self.folder and p.name.startswith("sweeps-"))
        return [(int(p.stem.split("-")[1]), p) for p in found]

    def table(self, name: str) -> Any:
        """A whole table in its canonical columns; not for sweeps of large deposits."""
        if name == "sweeps":
            return self._sweeps(0, self.count)
        if not self.has(name):
            return no_rows(name)
        found = options.read(self.path(name), file=self.file(name))
        return options.as_declared(found, schema(name), self.path(name))

    def rows(self, name: str, low: int, high: int) -> Any:
        """Rows of a table other than sweeps that belong to the records from position low to before high."""
        if not self.has(name):
            return no_rows(name)
        file = self.file(name)
        groups = options.groups_holding(file, "position", low, high - 1)
        found = options.read_groups(self.path(name), groups, file=file)
        at = found["position"]
        kept = found.filter(pc.and_(pc.greater_equal(at, low), pc.less(at, high)))
        return options.as_declared(kept, schema(name), self.path(name))

    def batches(self, start: int = 0, stop: int | None = None, size: int = _BATCH) -> Iterator[Batch]:
        """Records start to stop in batches, with the shared rows that they refer to, statements included.

        Statements that name no record, what was set aside, documents and schedules come with `table`.
        """
        stop = self.count if stop is None else min(stop, self.count)
        for low in range(start, stop, size):
            yield self._batch(low, min(low + size, stop))

    def select(self, wanted: Sequence[int]) -> Iterator[tuple[int, Batch]]:
        """Single records by position, in rising order, each as a batch of one; rows near each other are read once."""
        for members in _grouped(sorted(set(wanted)), sweeps.RECORDS_PER_GROUP):
            batch = self._batch(members[0], members[-1] + 1)
            for position in members:
                yield position, cut(batch, position - members[0], position - members[0] + 1)

    def facts(self, wanted: Sequence[int], size: int) -> Iterator[tuple[list[int], Batch]]:
        """Records by position, in rising order, without curves, extras and statements: so many at a time, at the
        most, with their positions."""
        for members in _grouped(sorted(set(wanted)), size):
            batch = self._batch(members[0], members[-1] + 1, without=("sweeps", "axes", "extras"))
            batch = batch.replace(**{name: no_rows(name) for name, t in tables().items() if t.level == "statement"})
            if len(members) < len(batch):
                ids = batch["records"].column("record_id").to_pylist()
                batch = batch.select([ids[position - members[0]] for position in members])
            yield members, batch

    def record(self, position: int) -> Batch:
        """One record as a batch of one. Errors: IndexError where there is no such position."""
        if not 0 <= position < self.count:
            raise IndexError(f"there is no record {position} among {self.count}")
        return self._batch(position, position + 1)

    def curves(
        self, parameter: str, columns: Sequence[str] = ("position", "end", "pairing", "axis_id")
    ) -> Iterator[Any]:
        """One parameter over all records: tables of the columns asked for and `values`, file after file."""
        need = [*dict.fromkeys([*columns, "parameter", "position", "curve", "decimals", "scaled", "values"])]
        for _, path in self.sweep_files:
            file = self.opened(path)
            groups = options.groups_holding(file, "parameter", parameter, parameter)
            if not groups:
                continue
            found = options.read_groups(path, groups, need, file)
            found = found.filter(pc.equal(found["parameter"], parameter)).combine_chunks()
            values = packing.unpack(found["decimals"], found["scaled"], found["values"])
            yield found.select(list(columns)).append_column("values", values)

    def _batch(self, low: int, high: int, without: Sequence[str] = ()) -> Batch:
        got: dict[str, Any] = {}
        for name, table in tables().items():
            if name in without:
                got[name] = no_rows(name)
            elif name == "sweeps":
                got[name] = self._sweeps(low, high)
            elif "record_id" in schema(name).names:
                got[name] = self.rows(name, low, high)
            elif table.level == "shared" and name not in _REFERRED:
                continue
        for name, (key, places) in _REFERRED.items():
            if name in without:
                continue
            got[name] = self._referred(name, key, [got[t][c] for t, c in places])
        return Batch(got)

    def _sweeps(self, low: int, high: int) -> Any:
        parts = []
        starts = [s for s, _ in self.sweep_files]
        for i, (start, path) in enumerate(self.sweep_files):
            end = starts[i + 1] if i + 1 < len(starts) else self.count
            if end <= low or start >= high:
                continue
            file = self._curve_file(path, low, high)
            groups = options.groups_holding(file, "position", low, high - 1)
            found = options.read_groups(path, groups, file=file)
            at = found["position"]
            found = found.filter(pc.and_(pc.greater_equal(at, low), pc.less(at, high)))
            parts.append(sweeps.unpacked(found))
        return pa.concat_tables(parts) if parts else no_rows("sweeps")

    def _curve_file(self, path: Path, low: int, high: int) -> Any:
        """A file of curves, opened to read those of some records."""
        return self.opened(path)

    def _referred(self, name: str, key: str, columns: list[Any]) -> Any:
        everything = self._all(name)
        if not everything.num_rows:
            return everything
        wanted = pc.unique(pa.chunked_array([c for col in columns for c in col.chunks], type=pa.string()))
        return everything.filter(pc.is_in(everything[key], value_set=pc.drop_null(wanted)))

    def _all(self, name: str) -> Any:
        if name not in self._shared:
            self._shared[name] = self.table(name)
        return self._shared[name]


def _grouped(wanted: list[int], size: int) -> Iterator[list[int]]:
    """Positions in rising order, those of one group of records together."""
    for _, members in groupby(wanted, key=lambda w: w // size):
        yield list(members)
