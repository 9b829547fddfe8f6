"""Reads any input: finds its files, asks the readers whose each one is, and accounts for every one."""

from __future__ import annotations

import tempfile
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, field, replace
from functools import partial
from itertools import chain
from pathlib import Path
from typing import Any, cast

import pyarrow as pa
import pyarrow.compute as pc

from archive import schemas
from archive.errors import Trouble
from archive.formats import mapping as by_mapping
from archive.formats import unseen
from archive.formats.base.findings import finding
from archive.formats.containers import entries, is_dropping, is_packed
from archive.formats.folders import Refused, path_text
from archive.formats.mapping.model import Mapping
from archive.formats.mapping.offered import Offered
from archive.formats.open_xml.gate import well_formed
from archive.formats.open_xml.prolog import looks_like_xml
from archive.formats.read_elsewhere import FilesElsewhere, FileToRead
from archive.formats.readers import BY_FIRST_BYTES, OPEN, OURS, SURE, names, reader
from archive.formats.recognition import Entry, Reader, Recognition
from archive.formats.seen_ids import NOT_THERE, SeenIds
from archive.formats.turn import BUG, Turn, bug
from archive.isolation import ProgramFault, attempt, caught
from archive.spread import Here, Workers
from archive.tables import Batch, concat, rebatch
from archive.tables.canonical import record_digests
from archive.tables.order import ordered
from archive.tables.sound import Breach, breaches

_BY_MAPPING = ("mapping", "link-list", "unseen")
"""Readers of tables and texts, whose files a mapping may describe."""


@dataclass
class FileOutcome:
    """The outcome of one file: layout ("" where not recognised), why so, records read, rows set aside.

    drafted: it was read by a draft that nobody looked over; unplaced: what that draft found no place for. mapping:
    SHA-256 of the mapping that read it, "" where none did.
    """

    path: str
    layout: str = ""
    reason: str = ""
    records: int = 0
    set_aside: int = 0
    passed_over: bool = False
    drafted: bool = False
    unplaced: list[str] = field(default_factory=list)
    mapping: str = ""
    measured: int = 0
    """Readings, reported values and curves that were read."""
    unread: list[str] = field(default_factory=list)
    """Measurements that its draft leaves out."""
    left: int = 0
    """Extras that are numbers."""
    placed: int = 0
    """Numbers that arrived as readings, worst cases and values of curves."""


@dataclass
class ReadingTask:
    """One file with the reader that knows it best, or with the trouble that keeps it from being read. mapping: the one
    by which it is read, where one was named or lies on a shelf; or a port map that was named."""

    entry: Entry
    reader: Reader | None = None
    found: Recognition | None = None
    trouble: Trouble | None = None
    mapping: Any = None


@dataclass(frozen=True)
class _Plan:
    """By what a file is read. drafted, unplaced, unread: as of FileOutcome."""

    mapping: Any
    drafted: bool = False
    unplaced: tuple[str, ...] = ()
    unread: tuple[str, ...] = ()


@dataclass(frozen=True)
class Elsewhere:
    """Who reads files, and a folder that this process and all workers reach."""

    workers: Workers
    folder: Path


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
        elsewhere: Elsewhere | None = None,
    ) -> None:
        """mapping: a mapping or port map, its path, several of them, or what formats.mapping.offered makes of them.

        tell_again: a record that came already is a row of set_aside; otherwise it is only counted in `again`.
        leave_out: files and folders that are passed over where a folder holds them, as the mapping is. elsewhere: who
        reads the files, if not this process. Errors: Trouble for a mapping that cannot be read.
        """
        self.files: list[FileOutcome] = []
        self.mappings: dict[str, bytes] = {}
        """Bytes of every mapping that read a file, by their SHA-256: an archive keeps those that it used."""
        self.again = 0
        self._tell_again = tell_again
        self._paths = [Path(p) for p in paths]
        self._offered = Offered.of(mapping)
        self._draft = draft
        self._leave_out = [*leave_out, *self._offered.paths]
        self._seen = SeenIds()
        self._several = False
        self._contents = SeenIds()
        self._open = [reader(name) for name in OPEN]
        self._names: list[str] = []
        self._room: tempfile.TemporaryDirectory[str] | None = None
        self._tasks: list[ReadingTask] = []
        self._elsewhere, self._ahead = elsewhere, FilesElsewhere(Here(), ())
        self._plans: dict[Path, _Plan] = {}
        self._batches = rebatch(self._read())

    def __iter__(self) -> Reading:
        return self

    def __next__(self) -> Batch:
        return next(self._batches)

    def beside(self) -> dict[Path, list[Path]]:
        """Files that are read with an input that is one file, by that input, and that were not handed in themselves;
        see `companions`. The inputs are recognised by this, once. Errors: as tasks."""
        out: dict[Path, list[Path]] = {}
        for task in self._recognised():
            path = task.entry.path
            if path in self._paths:
                taken = [p for p in _companions(task) if p not in self._paths]
                out.update({path: taken} if taken else {})
        return out

    def _recognised(self) -> list[ReadingTask]:
        if self._room is None:
            within = None if self._elsewhere is None else self._elsewhere.folder
            self._room = tempfile.TemporaryDirectory(prefix="muniment-", dir=within)
            self._tasks = tasks(self._paths, Path(self._room.name), self._leave_out, self._offered)
        return self._tasks

    def _read(self) -> Iterator[Batch]:
        try:
            yield from self._read_tasks(self._recognised())
        finally:
            if self._room is not None:
                self._room.cleanup()

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
        copies = _copies([t for t in listed if t.entry.path not in taken]) if self._tell_again else {}
        if self._elsewhere is not None:
            own = [t for t in listed if t.entry.path not in taken and t.entry.path not in copies]
            self._send([t for t in own if t.trouble is None and not is_dropping(t.entry.name)], self._elsewhere)
        for task in listed:
            by = taken.get(task.entry.path)
            if by is not None and by.found is not None:
                self.files.append(FileOutcome(task.entry.name, by.found.layout, f"read with {by.entry.name}"))
                continue
            file = FileOutcome(task.entry.name)
            self.files.append(file)
            if is_dropping(task.entry.name):
                file.reason, file.passed_over = "left out: a program put it there, not a person", True
                continue
            if (same := copies.get(task.entry.path)) is not None:
                file.layout, file.reason = same.found.layout if same.found else "", f"a copy of {same.entry.name}"
                told = finding("reading", "same-bytes-again", where=task.entry.name, found=same.entry.name)
                yield Batch.from_rows({"findings": [told]})
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
        turn = Turn(task.entry, task.found.takes)
        plan = self._plans.get(task.entry.path) or self._plan(task, turn)
        mapping, file.drafted = plan.mapping, plan.drafted
        if plan.drafted:
            file.layout = mapping.layout  # that of the first file alike, by whose draft this one is read, too
        file.unplaced, file.unread = list(plan.unplaced), list(plan.unread)
        here = not self._ahead.has(task.entry.path)
        read = partial(task.reader.read, task.entry, mapping=mapping, draft=self._draft)
        found = chain(
            read() if here else self._ahead.read(task.entry.path),
            _said(partial(self._how_read, task.entry, file, mapping)),
        )
        in_turn: Callable[[Callable[[], Batch | None]], Batch | None] = turn.work if here else _at_once
        while (batch := in_turn(partial(next, found, None))) is not None:
            contents = _contents(batch) if self._several and task.reader in self._open else {}
            batch = sound(self._not_twice(batch, task.entry, contents), task.entry)
            file.records += len(batch)
            file.set_aside += batch["set_aside"].num_rows
            file.measured += sum(batch[name].num_rows for name in ("readings", "reported", "sweeps"))
            file.left += _numbers_left(batch)
            file.placed += _numbers_placed(batch)
            yield batch

    def _plan(self, task: ReadingTask, turn: Turn) -> _Plan:
        """By what a file is read. Errors: Trouble where a draft cannot be made."""
        mapping = task.mapping
        if mapping is None and self._draft and task.reader is reader("unseen"):
            made = turn.work(partial(unseen.draft_of, task.entry))
            return _Plan(made.mapping, True, tuple(made.unplaced), tuple(made.unread))
        if mapping is None and task.reader is reader("mapping"):
            assert task.found is not None
            mapping = task.found.mapping or turn.work(partial(by_mapping.chosen, task.entry))
        return _Plan(mapping)

    def _send(self, listed: Sequence[ReadingTask], elsewhere: Elsewhere) -> None:
        """Gives files to the workers. Drafts are made here, in the order of the files: one serves the next."""
        known = {id(reader(name)): name for name in names()}
        pieces = []
        for number, task in enumerate(listed):
            assert task.found is not None
            try:
                plan = self._plan(task, Turn(task.entry, task.found.takes))
            except OSError:
                raise
            except Exception:  # noqa: BLE001, S112 - told when it is the turn of the file
                continue
            self._plans[task.entry.path] = plan
            into = elsewhere.folder / f"file-{number:07d}"
            name = known[id(task.reader)]
            pieces.append(FileToRead(task.entry, name, plan.mapping, self._draft, task.found.takes, into))
        self._ahead = FilesElsewhere(elsewhere.workers, pieces)

    def _how_read(self, entry: Entry, file: FileOutcome, mapping: Any) -> list[dict[str, Any]]:
        """Findings about the way a file was read: by a draft, or otherwise than files like it before."""
        if not isinstance(mapping, Mapping):
            return []
        file.mapping = mapping.digest
        self.mappings[mapping.digest] = mapping.text
        found = []
        if file.drafted:
            left = len(file.unplaced)
            told = f"{left} {'name' if left == 1 else 'names'} without a place" if left else "every name has a place"
            found.append(finding("reading", "read-by-a-draft", where=entry.name, found=told))
        found += _measurements_left(entry, file)
        if (before := self._offered.otherwise(entry, mapping)) is not None:
            now = f"{mapping.layout} ({mapping.digest[:12]})"
            was = f"{before.layout} ({before.digest[:12]})"
            found.append(finding("archive", "read-otherwise-than-before", where=entry.name, found=now, expected=was))
        return found

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


def _copies(listed: Sequence[ReadingTask]) -> dict[Path, ReadingTask]:
    """Files that hold the same bytes as another, by path, with the one that is read for all: that of the shortest name,
    so that a copy does not stand for its original. Only those are looked at whose name and neighbours say nothing of
    their records: open forms, and what a mapping of single files reads without the name of the file."""
    by_size: dict[int, list[ReadingTask]] = {}
    for task in listed:
        if _stands_alone(task):
            by_size.setdefault(task.entry.size, []).append(task)
    found: dict[Path, ReadingTask] = {}
    for alike in by_size.values():
        by_digest: dict[str, list[ReadingTask]] = {}
        for task in alike if len(alike) > 1 else ():
            by_digest.setdefault(task.entry.sha256, []).append(task)
        for same in by_digest.values():
            first = min(same, key=lambda t: len(t.entry.name))
            found |= {t.entry.path: first for t in same if t is not first}
    return found


def _stands_alone(task: ReadingTask) -> bool:
    """Whether what is read of a file rests on its bytes alone."""
    if task.trouble is not None or task.found is None or task.found.takes or not task.entry.path.is_file():
        return False
    mapping = task.mapping or task.found.mapping
    if isinstance(mapping, Mapping):
        return len(mapping.files) == 1 and b"@file" not in mapping.text
    return task.reader in [reader(name) for name in OPEN]


def _contents(batch: Batch) -> dict[str, str]:
    """Id and digest of each record by its id, without the key of the operator, which is salted at each reading."""
    batch = ordered(batch)
    records = batch["records"]
    at = records.column_names.index("operator_key")
    none = pa.nulls(len(batch), records.schema.field(at).type)
    batch = batch.replace(records=records.set_column(at, records.schema.field(at), none))
    ids = records["record_id"].to_pylist()
    return {i: f"{i}\n{digest}" for i, digest in zip(ids, record_digests(batch), strict=True)}


def sound(batch: Batch, entry: Entry) -> Batch:
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


def _at_once(work: Callable[[], Batch | None]) -> Batch | None:
    """Work on a file that had its turn elsewhere."""
    return work()


_NUMBER = r"^\s*[-+<>]?\d+(?:[.,]\d+)?(?:[\s;,|%]|$)"
"""The beginning of a cell that is a number, or a list of them."""


_EACH = r"\d+(?:[.,'’]\d+)*"
"""One number of a list."""


def _numbers_left(batch: Batch) -> int:
    """Numbers in extras that are numbers, or lists of them."""
    values = batch["extras"]["value"]
    told = values.filter(pc.fill_null(pc.match_substring_regex(values, _NUMBER), False))
    return int(pc.sum(pc.count_substring_regex(told, _EACH)).as_py() or 0)


_PLACED = (("readings", ("value",)), ("reported", ("value", "limit", "margin", "frequency_mhz")))


def _numbers_placed(batch: Batch) -> int:
    """Numbers that arrived: of readings and worst cases, and the values of curves."""
    found = sum(len(batch[t][c]) - batch[t][c].null_count for t, columns in _PLACED for c in columns)
    return int(found + (pc.sum(pc.list_value_length(batch["sweeps"]["values"])).as_py() or 0))


def _measurements_left(entry: Entry, file: FileOutcome) -> list[dict[str, Any]]:
    """Findings about measurements that were not read."""
    if (
        file.records and not file.measured and file.drafted
    ):  # of a mapping that somebody wrote, numbers-not-placed tells
        what = f"{file.records} {'record' if file.records == 1 else 'records'}, {file.left} numbers kept as extras"
        return [finding("reading", "no-measured-value", where=entry.name, found=what)]
    if file.unread:
        more = f" and {len(file.unread) - 3} more" if len(file.unread) > 3 else ""
        return [finding("reading", "draft-leaves-values", where=entry.name, found=", ".join(file.unread[:3]) + more)]
    if file.drafted and file.left > file.placed:
        what = f"{file.left} numbers kept as extras, {file.placed} placed"
        return [finding("reading", "draft-leaves-values", where=entry.name, found=what)]
    return []


def _said(findings: Callable[[], list[dict[str, Any]]]) -> Iterator[Batch]:
    if rows := findings():
        yield Batch.from_rows({"findings": rows})


def tasks(
    paths: Sequence[Path],
    temporary: Path,
    leave_out: Iterable[Any] = (),
    mapping: Any = None,
    watch: Callable[[list[Entry | Refused]], Iterable[Entry | Refused]] = iter,
) -> list[ReadingTask]:
    """Every file of the inputs, in order, with the reader that knows it best. Zips are unpacked into `temporary`.

    leave_out, mapping: as for Reading; watch: passes the files through. Errors: Trouble where an input is not there, or
    is a zip that is refused; where a mapping that was named recognises none of several files.
    """
    offered = Offered.of(mapping)
    units: list[Entry | Refused] = []
    for number, path in enumerate(paths):
        folder = temporary / str(number)
        folder.mkdir()
        units += entries(path, folder, [temporary, *leave_out])
    # The open forms first: the tables that a metadata file takes along need nobody else's look.
    known = {u.path: _task(u, partial(_at_sight, u)) for u in units if isinstance(u, Entry)}
    taken = _taken(list(known.values()))
    found: list[ReadingTask] = []
    for unit in watch(units):
        if isinstance(unit, Refused):
            found.append(ReadingTask(Entry(unit.path, unit.name), trouble=unit.trouble))
        elif known[unit.path].found or known[unit.path].trouble or unit.path in taken or is_dropping(unit.name):
            found.append(known[unit.path])
        else:
            found.append(_task(unit, partial(_foreign, unit, offered)))
    _all_used(found, offered)
    return found


def _all_used(found: Sequence[ReadingTask], offered: Offered) -> None:
    """Lets a mapping that recognises the one file there is not say itself what it misses; of several files it must
    recognise one. Errors: Trouble where it recognises none."""
    used = {id(task.mapping) for task in found}
    left = [m for m in offered.named if id(m) not in used]
    foreign = [t for t in found if not is_dropping(t.entry.name) and t.reader not in [reader(n) for n in OPEN]]
    if not left or not foreign:
        return
    if len(foreign) == len(offered.named) == 1:
        (task,) = foreign
        if task.reader is None or task.reader in [reader(n) for n in _BY_MAPPING]:
            known = Recognition(unseen.SCORE, "read by the mapping that was named", left[0].layout)
            task.reader, task.found, task.mapping = cast(Reader, by_mapping), task.found or known, left[0]
        return
    if len(foreign) == 1 and len(left) < len(offered.named):
        return  # several were named for what comes and goes; one of them reads the file
    raise Trouble(
        "this mapping recognises none of the files",
        code="mapping.fits-none",
        where=left[0].path or left[0].layout,
        found=f"{len(foreign)} files without its headings, labels or elements",
        remedy="leave it out, or see with `muniment mapping try` what it misses in one of them",
    )


def _task(entry: Entry, recognise: Callable[[], ReadingTask]) -> ReadingTask:
    try:
        return Turn(entry).work(recognise)
    except Trouble as trouble:
        return ReadingTask(entry, trouble=trouble)


def _at_sight(entry: Entry) -> ReadingTask:
    """What the readers of our own forms make of a file, and those that know theirs by its first bytes: no mapping reads
    what is no text, and to look for one takes longer than to read the file. Readers of other packages are asked first.
    """
    task = recognised(entry, tuple(OPEN))
    if task.found is None and task.trouble is None and len(names()) == len(OURS):
        sure = recognised(entry, BY_FIRST_BYTES)
        if sure.found is not None and sure.found.score >= SURE:
            return sure
    return task


def _foreign(entry: Entry, offered: Offered) -> ReadingTask:
    for offer in (offered.named_for, offered.shelved_for):
        found = attempt(partial(offer, entry), "recognising")
        if isinstance(found, ProgramFault):
            return ReadingTask(entry, trouble=bug(entry, found))
        if found is not None:
            return ReadingTask(entry, cast(Reader, by_mapping), found[1], mapping=found[0])
    task = recognised(entry)
    return task if task.reader in [reader(n) for n in _BY_MAPPING] else replace(task, mapping=offered.port_map)


def companions(path: Path, mapping: Any = None) -> list[Path]:
    """Files beside a single file, or in folders beside it, that its reader takes in with it, such as a port map or the
    curves of an index. What is in a zip takes in nothing from beside it. mapping: the one that was named."""
    entry = Entry(path, path_text(path.name))
    if is_packed(entry):
        return []
    return _companions(_task(entry, partial(_foreign, entry, Offered.of(mapping))))


def _companions(task: ReadingTask) -> list[Path]:
    path, taken = task.entry.path, task.found.takes if task.found is not None else ()
    return sorted(p for p in taken if p != path and p.is_relative_to(path.parent) and p.is_file())


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
    if kind := schemas.load("files.toml")["documents"].get(entry.suffix.removeprefix(".")):
        return Trouble(
            "is no export that any reader knows",
            code="layout.document",
            where=entry.name,
            found=f"a file of {entry.size:,} bytes that ends in {entry.suffix}",
            expected="an export; documents are kept with their job",
            remedy=f"keep it with the job: `muniment attach ARCHIVE FILE --job JOB --kind {kind}`",
        )
    begins = entry.head[:40].decode("utf-8", errors="replace").strip()
    drafting = "look at it with `muniment survey`, draft a mapping with `muniment mapping draft`"
    filing = "a letter is kept with its job: `muniment attach ARCHIVE FILE --job JOB --kind letter`; an export: "
    return Trouble(
        "no reader knows this layout",
        code="layout.unknown",
        where=entry.name,
        found=f"{entry.size:,} bytes that begin {begins!r}",
        expected="link record XML, CSV or Parquet, a network-analyser file, or a layout with a mapping",
        remedy=filing + drafting if _sentences(entry) else drafting,
    )


def _sentences(entry: Entry) -> bool:
    """Whether a text reads as sentences do: many words, and few of them numbers."""
    words = entry.head.decode("utf-8", errors="replace").split() if b"\0" not in entry.head else []
    plain = sum(word.strip(".,;:!?()'\"").isalpha() for word in words)
    return len(words) >= _FEWEST_WORDS and plain >= _OF_SENTENCES * len(words)


_FEWEST_WORDS = 6
_OF_SENTENCES = 0.8
"""Share of the words of a letter that are letters alone (common practice, no source)."""


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
