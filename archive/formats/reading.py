"""Reads any input: finds its files, asks the readers whose each one is, and accounts for every one."""

from __future__ import annotations

import importlib
import importlib.util
import tempfile
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, cast

import pyarrow.compute as pc

from archive.errors import Trouble
from archive.formats import READERS
from archive.formats.containers import Refused, entries
from archive.formats.recognition import Entry, Reader, Recognition
from archive.tables import Batch
from archive.tables.order import rebatch


@dataclass
class File:
    """What became of one file: layout ("" where not recognised), why so, records read, rows set aside."""

    path: str
    layout: str = ""
    reason: str = ""
    records: int = 0
    set_aside: int = 0


@dataclass
class _Task:
    entry: Entry
    reader: Reader
    found: Recognition


class Reading:
    """An iterator over the batches of one or several inputs; `files` tells of each file, as far as it was read."""

    def __init__(self, paths: Sequence[Any], *, mapping: Any = None, draft: bool = True) -> None:
        self.files: list[File] = []
        self._paths = [Path(p) for p in paths]
        self._options = {"mapping": mapping, "draft": draft}
        self._batches = rebatch(self._read())

    def __iter__(self) -> Reading:
        return self

    def __next__(self) -> Batch:
        return next(self._batches)

    def _read(self) -> Iterator[Batch]:
        with tempfile.TemporaryDirectory(prefix="muniment-") as folder:
            units: list[Entry | Refused] = []
            for number, path in enumerate(self._paths):
                temporary = Path(folder) / str(number)
                temporary.mkdir()
                units += entries(path, temporary)
            yield from self._read_units(units)

    def _read_units(self, units: list[Entry | Refused]) -> Iterator[Batch]:
        if not units:
            raise Trouble("there is nothing in it", where=", ".join(map(str, self._paths)), expected="files to read")
        tasks: list[_Task | Refused | Entry] = [self._task(u) if isinstance(u, Entry) else u for u in units]
        taken = {p for t in tasks if isinstance(t, _Task) for p in t.found.takes}
        alone = len(units) == 1
        troubles: list[Trouble] = []
        done = False
        seen: dict[str, str] = {}
        for task in tasks:
            if isinstance(task, _Task | Entry):
                entry = task.entry if isinstance(task, _Task) else task
                if entry.path in taken and not (isinstance(task, _Task) and task.found.takes):
                    continue
            if isinstance(task, _Task):
                file = File(task.entry.name, task.found.layout, task.found.reason)
                self.files.append(file)
                try:
                    for batch in task.reader.read(task.entry, **self._options):
                        done = True
                        batch = _not_twice(batch, seen, task.entry)
                        file.records += len(batch)
                        file.set_aside += batch["set_aside"].num_rows
                        yield batch
                    done = True
                    continue
                except Trouble as trouble:
                    if alone:
                        raise
                    troubles.append(trouble)
                    yield self._aside(task.entry, trouble, file)
            else:
                entry = task if isinstance(task, Entry) else Entry(task.path, task.name)
                trouble = task.trouble if isinstance(task, Refused) else _unknown(entry)
                troubles.append(trouble)
                file = File(entry.name)
                self.files.append(file)
                if not alone:
                    yield self._aside(entry, trouble, file)
        if not done:
            raise _nothing(troubles)

    def _task(self, entry: Entry) -> _Task | Entry:
        """The surest reader of a file, or the entry itself where none knows it."""
        best: _Task | None = None
        for reader in readers():
            found = reader.recognise(entry)
            if found is not None and (best is None or found.score > best.found.score):
                best = _Task(entry, reader, found)
        return best or entry

    def _aside(self, entry: Entry, trouble: Trouble, file: File) -> Batch:
        file.set_aside += 1
        return set_aside(entry, trouble)


def readers() -> list[Reader]:
    """The registered readers that are there, loaded."""
    return [
        cast(Reader, importlib.import_module(name))
        for name in READERS
        if importlib.util.find_spec(name) is not None and hasattr(importlib.import_module(name), "recognise")
    ]


def set_aside(entry: Entry, trouble: Trouble) -> Batch:
    """A batch that says why a file was set aside."""
    link = entry.path.is_symlink() or not entry.path.is_file()
    source_id = "" if link else entry.sha256
    row = {
        "source_id": source_id,
        "path": entry.name,
        "place": trouble.where.removeprefix(entry.name).lstrip(":, ") or None,
        "reason": trouble.message,
        "found": trouble.found or None,
        "expected": trouble.expected or None,
        "remedy": trouble.remedy or None,
    }
    sources = [] if link else [entry.source()]
    return Batch.from_rows({"set_aside": [row], "sources": sources})


def _not_twice(batch: Batch, seen: dict[str, str], entry: Entry) -> Batch:
    """The batch without records that came already (their id says: the same place of the same file, read the same)."""
    ids = batch["records"].column("record_id").to_pylist()
    again = [i for i in ids if i in seen]
    first = {i: seen.get(i, entry.name) for i in ids}
    for i in ids:
        seen.setdefault(i, entry.name)
    if not again:
        return batch
    reasons = [
        entry.set_aside(f"record {i} was read already, from {first[i]}", remedy="hand in each file once") for i in again
    ]
    sources = Batch.from_rows({"sources": [entry.source()], "set_aside": reasons})
    from archive.tables.order import concat

    keep = pc.is_in(batch["records"].column("record_id"), value_set=_strings([i for i in ids if i not in set(again)]))
    return concat([batch.select(batch["records"].filter(keep).column("record_id").to_pylist()), sources])


def _strings(values: list[str]) -> Any:
    import pyarrow as pa

    return pa.array(values, type=pa.string())


def _unknown(entry: Entry) -> Trouble:
    begins = entry.head[:40].decode("utf-8", errors="replace").strip()
    return Trouble(
        "no reader knows this layout" if entry.size else "is empty",
        where=entry.name,
        found=f"{entry.size:,} bytes that begin {begins!r}" if entry.size else "",
        expected="link record XML, CSV or Parquet, a network-analyser file, or a layout with a mapping",
        remedy="look at it with `muniment survey`, draft a mapping with `muniment mapping draft`",
    )


def _nothing(troubles: list[Trouble]) -> Trouble:
    """The first reason, and how many more there are."""
    first = troubles[0]
    if len(troubles) == 1:
        return first
    return Trouble(
        first.message,
        where=first.where,
        found=first.found,
        expected=first.expected,
        remedy=f"{first.remedy or 'look at this file'} (nothing here can be read: {len(troubles) - 1} more files)",
    )
