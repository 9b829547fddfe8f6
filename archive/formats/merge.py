"""Forms of one file per table, read side by side: batches in record order, in bounded memory.

The files are looked at twice: first only which record each row belongs to, then the rows themselves. A row of a
record that cannot be taken sets its whole record aside; any other row that cannot be taken goes alone.
"""

from __future__ import annotations

import tempfile
from abc import ABC, abstractmethod
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pyarrow as pa
import pyarrow.compute as pc

from archive.formats.external_sort import in_order
from archive.formats.recognition import Entry
from archive.formats.shared_rows import SharedRows
from archive.formats.table_cursor import ROW, Positions, RowFault, TableCursor, TablePart
from archive.tables import MOST_BYTES, MOST_RECORDS, Batch, schema, tables
from archive.tables.sound import breaches
from archive.version import PROGRAM

OF_RECORD = [t.name for t in tables().values() if t.level == "record" and t.name != "records"]
STATEMENTS = [t.name for t in tables().values() if t.level == "statement" and "record_id" in t.schema.names]
SHARED = [t.name for t in tables().values() if t.level == "shared"]

_SOME_BYTES = 8_000_000
"""Bytes of set_aside of the input that come with one batch."""


class OpenTableFiles(ABC):
    """The files of one form: one per table, beside each other. layout, program, encoding: as in `sources`."""

    layout: str
    program: str
    encoding: str | None = None

    def __init__(self, beside: Entry, ending: str) -> None:
        """beside: the file by which the form was recognised. ending: of the files of the tables."""
        before = beside.name.rpartition("/")[0]
        self.entries = {
            name: Entry(path, f"{before}/{path.name}" if before else path.name)
            for name in tables()
            if (path := beside.path.parent / f"{name}{ending}").is_file()
        }

    @abstractmethod
    def parts(self, name: str) -> Iterator[TablePart]:
        """The rows of one table, in the order of its file. Errors: Trouble."""

    @abstractmethod
    def record_ids(self, name: str) -> Iterator[pa.Array]:
        """Column record_id of one table, as string arrays. Errors: Trouble."""

    @abstractmethod
    def place(self, name: str, row: int) -> str:
        """Where row number `row` (from 0) stands in its file."""

    def source(self, name: str) -> dict[str, Any]:
        """Its row of `sources`."""
        reader = f"{PROGRAM} {self.program}"
        return self.entries[name].source(layout=self.layout, reader=reader, encoding=self.encoding)


def merged(files: OpenTableFiles) -> Iterator[Batch]:
    """Batches of the tables. Errors: Trouble where a file cannot be read."""
    with tempfile.TemporaryDirectory(prefix="muniment-") as folder:
        yield from _Merge(files, Path(folder)).batches()


class _Merge:
    def __init__(self, files: OpenTableFiles, folder: Path) -> None:
        self._files = files
        self._told: list[dict[str, Any]] = []
        self._sources: dict[str, dict[str, Any]] = {}
        self._bad: dict[str, RowFault] = {}
        self._bad_axes: dict[str, str] = {}
        self._shared = SharedRows()
        self._before: Iterator[TablePart] | None = files.parts("set_aside")
        self._positions = Positions(files.record_ids("records"))
        self._cursors = {
            name: TableCursor(name, in_order(files, name, self._positions, folder / name), self._positions)
            for name in (*OF_RECORD, *STATEMENTS)
        }

    def batches(self) -> Iterator[Batch]:
        """The batches; the last ones take what belongs to no record and did not come before."""
        for name in SHARED:
            for part in self._files.parts(name):
                self._shared.add(name, self._clean(name, part))
        start = 0
        for records in self._thousands():
            while records.num_rows:
                sweeps, stop = self._cursors["sweeps"].upto(start, start + records.num_rows, MOST_BYTES)
                built = {n: c.upto(start, stop)[0] for n, c in self._cursors.items() if n != "sweeps"}
                # in one piece, so that nothing that follows has to put them together again
                built |= {"sweeps": sweeps.combine_chunks(), "records": records.slice(0, stop - start)}
                records, start = records.slice(stop - start), stop
                yield self._batch(built)
        yield self._batch({name: cursor.rest() for name, cursor in self._cursors.items()})
        while self._shared.left or self._before is not None:
            yield self._batch({})

    def _thousands(self) -> Iterator[Any]:
        """The records, MOST_RECORDS at a time."""
        held: list[Any] = []
        for part in self._files.parts("records"):
            self._note(part.faults)
            held.append(part.table)
            while sum(t.num_rows for t in held) >= MOST_RECORDS:
                joined = pa.concat_tables(held)
                yield joined.slice(0, MOST_RECORDS)
                held = [joined.slice(MOST_RECORDS)]
        if held:
            yield pa.concat_tables(held)

    def _batch(self, built: dict[str, Any]) -> Batch:
        """A batch of the rows that can be used; set_aside lists the others."""
        for cursor in self._cursors.values():
            self._note(cursor.faults)
            cursor.faults = []
        kept = self._without_bad(built)
        whole = {n: t.drop_columns([ROW]) for n, t in kept.items()}
        if "sweeps" in kept and (axes := self._shared.find("axes", kept["sweeps"].column("axis_id"))) is not None:
            whole["axes"] = axes
        alone = self._judge(Batch(whole), kept)
        kept = self._without_bad(kept)
        for name, rows in alone.items():
            kept[name] = _without(kept[name], rows)
        plain = {n: t.drop_columns([ROW]) for n, t in kept.items()}
        before = self._set_aside_before()
        mine = Batch.from_rows({"set_aside": self._told, "sources": self._sources.values()})
        self._told, self._sources = [], {}
        plain["set_aside"] = pa.concat_tables([*before, mine["set_aside"]])
        shared = self._shared.take(plain)
        shared["sources"] = pa.concat_tables([*([shared["sources"]] if "sources" in shared else []), mine["sources"]])
        return Batch({**plain, **shared})

    def _set_aside_before(self) -> list[Any]:
        """Some parts of the table set_aside of the input; none when it is through."""
        found: list[Any] = []
        while self._before is not None and sum(t.nbytes for t in found) < _SOME_BYTES:
            part = next(self._before, None)
            if part is None:
                self._before = None
            else:
                found.append(self._clean("set_aside", part))
        return found

    def _judge(self, batch: Batch, kept: dict[str, Any]) -> dict[str, set[int]]:
        """Notes what breaks a rule; rows of statements, by their number in the file, that go alone."""
        alone: dict[str, set[int]] = {}
        for breach in breaches(batch):
            if breach.table == "axes":
                continue
            row = kept[breach.table].column(ROW)[breach.row].as_py()
            reason = breach.reason
            if breach.found in self._bad_axes:
                reason = f"a sweep cannot be used: {self._bad_axes[breach.found]}"
            fault = RowFault(breach.table, row, breach.record_id, reason, breach.found, breach.expected)
            self._note([fault])
            if tables()[breach.table].level != "record":
                alone.setdefault(breach.table, set()).add(row)
        return alone

    def _without_bad(self, built: dict[str, Any]) -> dict[str, Any]:
        """The tables without the records that are to be set aside, and set_aside rows for these."""
        if "records" not in built:
            return built
        records = built["records"].filter(pc.is_valid(built["records"].column("record_id")))
        bad = []
        for name, label in zip(*(records.column(c).to_pylist() for c in ("record_id", "link_label")), strict=True):
            if name in self._positions.twice and name not in self._bad:
                why = "a record with this id stands more than once"
                self._bad[name] = RowFault(
                    "records", self._positions.of(pa.array([name]))[0], name, why, name, "each id once"
                )
            if name in self._bad:
                if name not in bad:
                    self._tell(self._bad[name], label)
                bad.append(name)
        built = {**built, "records": records}
        if not bad:
            return built
        drop = pa.array(bad, type=pa.string())
        return {n: t.filter(pc.invert(pc.is_in(t.column("record_id"), value_set=drop))) for n, t in built.items()}

    def _note(self, faults: list[RowFault]) -> None:
        for fault in faults:
            if fault.record_id and tables()[fault.table].level == "record":
                self._bad.setdefault(fault.record_id, fault)
            else:
                self._tell(fault)

    def _clean(self, name: str, part: TablePart) -> Any:
        """Rows of a table without record_id, without those that cannot be taken."""
        self._note(part.faults)
        table = _without(part.table, {f.row for f in part.faults})
        bad = set()
        for breach in breaches(Batch({name: table.drop_columns([ROW])})):
            row = table.column(ROW)[breach.row].as_py()
            self._tell(RowFault(name, row, None, breach.reason, breach.found, breach.expected))
            bad.add(row)
            if name == "axes":
                self._bad_axes[table.column("axis_id")[breach.row].as_py()] = breach.reason
        return _without(table, bad).drop_columns([ROW]).cast(schema(name))

    def _tell(self, fault: RowFault, link_label: str | None = None) -> None:
        entry = self._files.entries[fault.table]
        self._sources.setdefault(entry.name, self._files.source(fault.table))
        self._told.append(
            entry.set_aside(
                fault.reason,
                place=self._files.place(fault.table, fault.row),
                link_label=link_label,
                found=fault.found or None,
                expected=fault.expected or None,
                remedy="correct this row in its source and hand it in again; the other records were read",
            )
        )


def _without(table: Any, rows: set[int]) -> Any:
    if not rows:
        return table
    return table.filter(pc.invert(pc.is_in(table.column(ROW), value_set=pa.array(sorted(rows), type=pa.int64()))))
