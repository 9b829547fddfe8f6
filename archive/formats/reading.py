"""Reads any input: finds its files, asks the readers whose each one is, and accounts for every one."""

from __future__ import annotations

import tempfile
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import Any, cast

import pyarrow as pa

from archive.errors import Trouble
from archive.formats import mapping as by_mapping
from archive.formats.containers import entries, is_dropping, is_packed
from archive.formats.folders import Refused, path_text
from archive.formats.open_xml.gate import well_formed
from archive.formats.open_xml.prolog import looks_like_xml
from archive.formats.readers import OPEN, names, reader
from archive.formats.recognition import Entry, Reader, Recognition
from archive.formats.seen_ids import NOT_THERE, SeenIds
from archive.formats.turn import BUG, Turn, bug
from archive.isolation import ProgramFault, attempt, caught
from archive.tables import Batch, concat, rebatch
from archive.tables.canonical import record_digests
from archive.tables.order import ordered
from archive.tables.sound import Breach, breaches


@dataclass
class FileOutcome:
    """The outcome of one file: layout ("" where not recognised), why so, records read, rows set aside."""

    path: str
    layout: str = ""
    reason: str = ""
    records: int = 0
    set_aside: int = 0


@dataclass
class ReadingTask:
    """One file with the reader that knows it best, or with the trouble that keeps it from being read."""

    entry: Entry
    reader: Reader | None = None
    found: Recognition | None = None
    trouble: Trouble | None = None


class Reading:
    """An iterator over the batches of one or several inputs; `files` has one row per file, as far as it was read."""

    def __init__(
        self,
        paths: Sequence[Any],
        *,
        mapping: Any = None,
        draft: bool = True,
        tell_again: bool = True,
        leave_out: Iterable[Any] = (),
    ) -> None:
        """tell_again: a record that came already is a row of set_aside; otherwise it is only counted in `again`.

        leave_out: files and folders that are passed over where a folder holds them, as the mapping is.
        """
        self.files: list[FileOutcome] = []
        self.again = 0
        self._tell_again = tell_again
        self._paths = [Path(p) for p in paths]
        self._options = {"mapping": mapping, "draft": draft}
        self._leave_out = [*leave_out, *([mapping] if isinstance(mapping, str | Path) else [])]
        self._seen = SeenIds()
        self._several = False
        self._contents = SeenIds()
        self._open = [reader(name) for name in OPEN]
        self._names: list[str] = []
        self._batches = rebatch(self._read())

    def __iter__(self) -> Reading:
        return self

    def __next__(self) -> Batch:
        return next(self._batches)

    def _read(self) -> Iterator[Batch]:
        with tempfile.TemporaryDirectory(prefix="muniment-") as folder:
            yield from self._read_tasks(tasks(self._paths, Path(folder), self._leave_out, self._options["mapping"]))

    def _read_tasks(self, listed: list[ReadingTask]) -> Iterator[Batch]:
        if not listed:
            raise Trouble(
                "there is nothing in it",
                code="input.nothing",
                where=", ".join(map(str, self._paths)),
                expected="files to read",
            )
        self._several = len(listed) > 1
        taken = _taken(listed)
        troubles: list[Trouble] = []
        done = False
        for task in listed:
            by = taken.get(task.entry.path)
            if by is not None and by.found is not None:
                self.files.append(FileOutcome(task.entry.name, by.found.layout, f"read with {by.entry.name}"))
                continue
            file = FileOutcome(task.entry.name)
            self.files.append(file)
            if is_dropping(task.entry.name):
                file.reason = "left out: an operating system put it there, not a person"
                continue
            trouble = task.trouble
            if trouble is None:
                try:
                    yield from self._batches_of(task, file)
                    done = True
                    continue
                except Trouble as raised:
                    trouble = raised
                except OSError:
                    raise
                except Exception as error:  # noqa: BLE001 - a bug costs the file, or what of it was not read yet
                    trouble = bug(task.entry, caught(error, "reading"), file.records)
                    done = done or file.records > 0
            if len(listed) == 1 and not (trouble.code == BUG and file.records):
                raise trouble
            troubles.append(trouble)
            file.set_aside += 1
            yield set_aside(task.entry, trouble)
        if not done:
            raise _nothing(troubles or [_unknown(listed[0].entry)])

    def _batches_of(self, task: ReadingTask, file: FileOutcome) -> Iterator[Batch]:
        assert task.reader is not None
        assert task.found is not None
        file.layout, file.reason = task.found.layout, task.found.reason
        found = iter(task.reader.read(task.entry, **self._options))
        turn = Turn(task.entry, task.found.takes)
        while (batch := turn.work(partial(next, found, None))) is not None:
            contents = _contents(batch) if self._several and task.reader in self._open else {}
            batch = _sound(self._not_twice(batch, task.entry, contents), task.entry)
            file.records += len(batch)
            file.set_aside += batch["set_aside"].num_rows
            yield batch

    def _says_otherwise(self, record: str, content: str) -> bool:
        """Whether an open form brought this id before, and said something else."""
        return self._contents.get(record) != NOT_THERE and self._contents.get(content) == NOT_THERE

    def _not_twice(self, batch: Batch, entry: Entry, contents: dict[str, str]) -> Batch:
        """The batch without records that came already.

        The id of a record that a mapping reads says the same place of the same file, read the same. An open form brings
        its ids along, and may say other things under one: contents holds what its records say, by id, and a record of
        a known id and other content is set aside.
        """
        ids = batch["records"].column("record_id").to_pylist()
        before = self._seen.numbers(ids).tolist()
        if not self._names or self._names[-1] != entry.name:
            self._names.append(entry.name)
        for i, number in zip(ids, before, strict=True):
            if number == NOT_THERE:
                self._seen.put(i, len(self._names) - 1)
        again = {i: self._names[n] for i, n in zip(ids, before, strict=True) if n != NOT_THERE}
        other = {i for i in again if i in contents and self._says_otherwise(i, contents[i])}
        for i, content in contents.items():
            if i not in again:
                self._contents.put(i, 0)
                self._contents.put(content, 0)
        if not again:
            return batch
        rows = [
            entry.set_aside(
                f"record {i} has other content than the one of this id from {name}",
                remedy="hand them in one after the other: the archive keeps both, in conflict, until somebody decides",
            )
            if i in other
            else entry.set_aside(
                f"record {i} was read already, from {name}",
                remedy="hand in each file once; the record was kept from the first",
            )
            for i, name in again.items()
            if i in other or self._tell_again
        ]
        self.again += len(again) - len(other)
        kept = batch.select(set(ids) - set(again))
        if not rows:
            return kept
        return concat([kept, Batch.from_rows({"sources": [entry.source()], "set_aside": rows})])


def _contents(batch: Batch) -> dict[str, str]:
    """Id and digest of each record by its id, without the key of the operator, which is salted at each reading."""
    batch = ordered(batch)
    records = batch["records"]
    at = records.column_names.index("operator_key")
    none = pa.nulls(len(batch), records.schema.field(at).type)
    batch = batch.replace(records=records.set_column(at, records.schema.field(at), none))
    ids = records["record_id"].to_pylist()
    return {i: f"{i}\n{digest}" for i, digest in zip(ids, record_digests(batch), strict=True)}


def _sound(batch: Batch, entry: Entry) -> Batch:
    """The batch without records that break a rule of the tables; they become rows of set_aside.

    Errors: ValueError for a row of no record that breaks a rule: a bug of the reader.
    """
    bad: dict[str, Breach] = {}
    for breach in breaches(batch):
        if not breach.record_id:
            raise ValueError(f"{entry.name}: {breach.table}, row {breach.row + 1}: {breach.reason}")
        bad.setdefault(breach.record_id, breach)
    if not bad:
        return batch
    rows = [
        entry.set_aside(
            b.reason,
            place=f"record {i}",
            found=b.found or None,
            expected=b.expected or None,
            remedy="look at its source",
        )
        for i, b in bad.items()
    ]
    kept = batch.select(set(batch["records"].column("record_id").to_pylist()) - set(bad))
    return concat([kept, Batch.from_rows({"sources": [entry.source()], "set_aside": rows})])


def tasks(
    paths: Sequence[Path], temporary: Path, leave_out: Iterable[Any] = (), mapping: Any = None
) -> list[ReadingTask]:
    """Every file of the inputs, in order, with the reader that knows it best. Zips are unpacked into `temporary`.

    leave_out, mapping: as for Reading. Errors: Trouble where an input is not there, or is a zip that is refused.
    """
    units: list[Entry | Refused] = []
    for number, path in enumerate(paths):
        folder = temporary / str(number)
        folder.mkdir()
        units += entries(path, folder, [temporary, *leave_out])
    # The open forms first: the tables that a metadata file takes along need nobody else's look.
    known = {u.path: _task(u, partial(recognised, u, tuple(OPEN))) for u in units if isinstance(u, Entry)}
    taken = _taken(list(known.values()))
    found: list[ReadingTask] = []
    for unit in units:
        if isinstance(unit, Refused):
            found.append(ReadingTask(Entry(unit.path, unit.name), trouble=unit.trouble))
        elif known[unit.path].found or known[unit.path].trouble or unit.path in taken or is_dropping(unit.name):
            found.append(known[unit.path])
        else:
            found.append(_task(unit, partial(_foreign, unit, mapping)))
    return found


def _task(entry: Entry, recognise: Callable[[], ReadingTask]) -> ReadingTask:
    try:
        return Turn(entry).work(recognise)
    except Trouble as trouble:
        return ReadingTask(entry, trouble=trouble)


def _foreign(entry: Entry, mapping: Any) -> ReadingTask:
    return _by_mapping(entry, mapping) or recognised(entry)


def companions(path: Path, mapping: Any = None) -> list[Path]:
    """Files beside a single file, or in folders beside it, that its reader takes in with it, such as a port map or the
    curves of an index. What is in a zip takes in nothing from beside it. mapping: the one that was named."""
    entry = Entry(path, path_text(path.name))
    if is_packed(entry):
        return []
    task = _task(entry, partial(_foreign, entry, mapping))
    taken = task.found.takes if task.found is not None else ()
    return sorted(p for p in taken if p != path and p.is_relative_to(path.parent) and p.is_file())


def _by_mapping(entry: Entry, mapping: Any) -> ReadingTask | None:
    """A file that has the layout of the mapping that was named: nobody else need look at it."""
    found = attempt(partial(by_mapping.recognise_by, entry, mapping), "recognising") if mapping is not None else None
    if isinstance(found, ProgramFault):
        return ReadingTask(entry, trouble=bug(entry, found))
    return ReadingTask(entry, cast(Reader, by_mapping), found) if found is not None else None


def recognised(entry: Entry, among: Sequence[str] | None = None) -> ReadingTask:
    """The surest of the readers of a file (None: of all); of equally sure ones the first. A reader that a bug stops is
    not asked."""
    best = ReadingTask(entry)
    for asked in map(reader, names() if among is None else among):
        if best.found is not None and getattr(asked, "LAST", False):
            continue
        try:
            found = asked.recognise(entry)
        except (Trouble, OSError, RecursionError, MemoryError):
            raise
        except Exception as error:  # noqa: BLE001 - a bug in one reader must not cost the others
            best.trouble = best.trouble or bug(entry, caught(error, "recognising"))
            continue
        if found is not None and (best.found is None or found.score > best.found.score):
            best = ReadingTask(entry, asked, found)
            if found.score >= 1.0:
                break
    if best.found is None and among is None:
        best.trouble = best.trouble or _unknown(entry)
    return best


def set_aside(entry: Entry, trouble: Trouble) -> Batch:
    """A batch that says why a file was set aside."""
    readable = entry.path.is_file() and not entry.path.is_symlink()
    row = {
        "source_id": entry.sha256 if readable else "",
        "path": entry.name,
        "place": trouble.where.removeprefix(entry.name).lstrip(":, ") or None,
        "reason": trouble.message,
        "found": trouble.found or None,
        "expected": trouble.expected or None,
        "remedy": trouble.remedy or None,
    }
    return Batch.from_rows({"set_aside": [row], "sources": [entry.source()] if readable else []})


def _taken(listed: list[ReadingTask]) -> dict[Path, ReadingTask]:
    """Files that are read together with another one, and the task of that one."""
    taken: dict[Path, ReadingTask] = {}
    for task in listed:
        if task.found is not None and task.entry.path not in taken:
            for path in task.found.takes - {task.entry.path}:
                taken.setdefault(path, task)
    return taken


def _unknown(entry: Entry) -> Trouble:
    if not entry.size:
        return Trouble("is empty", code="file.empty", where=entry.name, remedy="copy or export it again")
    if fault := _xml_fault(entry):
        return fault
    begins = entry.head[:40].decode("utf-8", errors="replace").strip()
    return Trouble(
        "no reader knows this layout",
        code="layout.unknown",
        where=entry.name,
        found=f"{entry.size:,} bytes that begin {begins!r}",
        expected="link record XML, CSV or Parquet, a network-analyser file, or a layout with a mapping",
        remedy="look at it with `muniment survey`, draft a mapping with `muniment mapping draft`",
    )


def _xml_fault(entry: Entry) -> Trouble | None:
    """Why a file that looks like XML cannot be read by anybody, where that is so."""
    if not looks_like_xml(entry.head) or entry.suffix in (".htm", ".html"):
        return None
    try:
        well_formed(entry.path, entry.name)
    except Trouble as trouble:
        return trouble
    return None


def _nothing(troubles: list[Trouble]) -> Trouble:
    """The first reason, and how many more there are."""
    first = troubles[0]
    more = f" (nothing here can be read: {len(troubles) - 1} more files)" if len(troubles) > 1 else ""
    remedy = (first.remedy or "look at this file") + more
    return Trouble(
        first.message, code=first.code, where=first.where, found=first.found, expected=first.expected, remedy=remedy
    )
