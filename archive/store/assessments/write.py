"""A grading run over records of the archive: verdicts and grades in a bag, what changed beside them.

The work is a list of pieces, independent of each other: `records_to_grade` makes it, `graded` does one, wherever it
runs, `assess` joins and commits them.

assessments/<id>/data/tables/verdicts.parquet, grades.parquet   with "address", the record's deposit and position
assessments/<id>/data/changes.parquet                           records whose verdict is another than before
"""

from __future__ import annotations

import json
from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from itertools import groupby
from typing import Any

import pyarrow as pa
import pyarrow.compute as pc

from archive import disk
from archive.isolation import NOT_GRADED
from archive.store import aside, clock, layout
from archive.store.archive import Archive
from archive.store.bag_reading import BagReading
from archive.store.bags import TAG_MANIFEST, BagWriter
from archive.store.events.write import people_json
from archive.store.ledger import LedgerEntry
from archive.store.ledger.entry import Sign
from archive.store.parquet import options
from archive.store.records import split_address
from archive.tables import Batch, no_rows, schema
from archive.tables.arrow import joined, one_chunk

Grade = Callable[[Batch], Batch]

CHANGES = pa.schema(
    [
        ("address", pa.string()),
        ("record_id", pa.string()),
        ("link_label", pa.string()),
        ("limit_before", pa.string()),
        ("verdict_before", pa.string()),
        ("margin_before", pa.float64()),
        ("limit_id", pa.string()),
        ("verdict", pa.string()),
        ("margin", pa.float64()),
        ("reason", pa.string()),
    ]
)
_STATEMENTS = ("verdicts", "grades")
_TOGETHER = 128
PIECE = 4 * _TOGETHER
"""Records of a deposit that are graded as one piece: their verdicts and grades take some 10 MB."""


@dataclass
class AssessmentOutcome:
    """Of a committed run: entry, number of records, verdicts by word, records whose verdict changed, and the number of
    verdicts that a bug of this program prevented."""

    entry: LedgerEntry
    records: int
    verdicts: dict[str, int]
    changes: Any
    faults: int = 0
    new: bool = True
    """False where an earlier run, whose entry this is, said the same."""


@dataclass(frozen=True)
class RecordsToGrade:
    """Some records of one deposit, by their positions, rising; and whatever the grading needs to know."""

    deposit: str
    bag: BagReading
    positions: tuple[int, ...]
    said: Any = None


def records_to_grade(archive: Archive, addresses: Iterable[str], said: Any = None) -> list[RecordsToGrade]:
    """The records at these addresses in pieces of at most PIECE, deposit after deposit. said: goes along with each.

    Errors: Trouble where there is no such deposit, or its manifests are damaged."""
    of: dict[str, set[int]] = {}
    for address in addresses:
        deposit, position = split_address(address)
        of.setdefault(deposit, set()).add(position)
    made = []
    for deposit, positions in of.items():
        bag = BagReading.of(archive, deposit)
        for _, some in groupby(sorted(positions), key=lambda p: p // PIECE):
            made.append(RecordsToGrade(deposit, bag, tuple(some), said))
    return made


def graded(piece: RecordsToGrade, grade: Grade) -> Iterator[dict[str, Any]]:
    """Verdicts and grades of these records, some at a time, each table with its column "address"."""
    tables = piece.bag.tables
    for block, members in groupby(piece.positions, key=lambda p: p // _TOGETHER):
        some = list(members)
        low = block * _TOGETHER
        for batch in tables.batches(low, low + _TOGETHER, _TOGETHER):
            ids = one_chunk(batch["records"]["record_id"])
            if len(some) < len(batch):
                ids = ids.take(pa.array([p - low for p in some]))
                batch = batch.select(ids.to_pylist())
            batch = grade(_plain(batch))
            places = pa.array([f"{piece.deposit}/{p}" for p in some])
            yield {name: _addressed(batch[name], ids, places) for name in _STATEMENTS}


@dataclass(frozen=True)
class RunFacts:
    """What is said of a run. facts: what the entry holds (against, limits_version); limits: limit files as used, by
    name."""

    by: str | None = None
    reason: str | None = None
    facts: Mapping[str, Any] = field(default_factory=dict)
    limits: Mapping[str, bytes] = field(default_factory=dict)
    sign: Sign | None = None


def assess(archive: Archive, records: int, parts: Iterable[dict[str, Any]], said: RunFacts) -> AssessmentOutcome:
    """Commits what grading records of the archive again came to; nothing that stands is changed.

    records: their number; parts: verdicts and grades as `graded` gives them. Where an earlier run said the same of
    the same records, against the same limits, nothing is committed and its entry is given.
    """
    run_id = layout.new_id(clock.now())
    writing = aside.begin(archive, run_id)
    place = f"{layout.ASSESSMENTS}/{run_id}"
    bag = BagWriter(writing.folder / run_id)
    try:
        words, changes, faults = _write(archive, bag, parts)
        for name, data in sorted(said.limits.items()):
            bag.add(f"limits/{name}", data)
        made = {path: p.sha256 for path, p in bag.prints.items()}
        before = _said_before(archive, said.facts, made)
        if before is not None:
            return AssessmentOutcome(before, records, dict(words), changes, faults, new=False)
        who = _by(bag, said.by)
        bag.add("run.json", (json.dumps({"reason": said.reason, **said.facts}, ensure_ascii=False) + "\n").encode())
        tag = bag.finish([("External-Identifier", run_id)])
        disk.move_in(bag.folder, archive.root / place)
        fields = {
            "kind": "assessment",
            "by": who,
            "id": run_id,
            "path": place,
            **said.facts,
            "records": records,
            "verdicts": dict(sorted(words.items())),
            "changed": changes.num_rows,
            "files": {f"{place}/{TAG_MANIFEST}": {"sha256": tag.sha256, "bytes": tag.bytes}},
        }
        entry = archive.commit(lambda: fields, writing.folder, said.sign)
    finally:
        bag.release()
        aside.take_back(archive, writing.folder)
    return AssessmentOutcome(entry, records, dict(words), changes, faults)


def _said_before(archive: Archive, facts: Mapping[str, Any], graded: Mapping[str, str]) -> LedgerEntry | None:
    """The entry of a run with the same facts whose tables are byte-identical; the latest one."""
    found = None
    for entry in archive.entries():
        if entry.kind == "assessment" and all(entry.get(name) == value for name, value in facts.items()):
            held = archive.checked.of_entry(entry)
            if all(held.get(f"{entry['path']}/{path}") == digest for path, digest in graded.items()):
                found = entry
    return found


def _write(archive: Archive, bag: BagWriter, parts: Iterable[dict[str, Any]]) -> tuple[Counter[str], Any, int]:
    writers: dict[str, Any] = {}
    words: Counter[str] = Counter()
    faults = 0
    changes = [CHANGES.empty_table()]
    for part in parts:
        for name in _STATEMENTS:
            if name not in writers:
                wanted = schema(name).insert(0, pa.field("address", pa.string()))
                writers[name] = options.writer(bag.open(f"tables/{name}.parquet"), wanted)
            writers[name].write_table(part[name].cast(writers[name].schema))
        words.update(part["verdicts"]["verdict"].to_pylist())
        faults += pc.sum(pc.starts_with(part["verdicts"]["reason"], NOT_GRADED), min_count=0).as_py()
        changes.append(_changes(archive, part["verdicts"]))
    for name, writer in writers.items():
        writer.close()
        bag.close(f"tables/{name}.parquet")
    joined = pa.concat_tables(changes)
    sink = options.writer(bag.open("changes.parquet"), CHANGES)
    sink.write_table(joined)
    sink.close()
    bag.close("changes.parquet")
    return words, joined, faults


def _changes(archive: Archive, verdicts: Any) -> Any:
    """Records of which the verdict now is another than the one that stands in the catalogue."""
    found = []
    for new in verdicts.to_pylist():
        old = archive.db.execute(
            "SELECT limit_id, verdict, margin FROM records WHERE deposit = ? AND position = ?",
            split_address(new["address"]),
        ).fetchone()
        if old is not None and old[1] != new["verdict"]:
            kept = {k: new[k] for k in CHANGES.names if k in new}
            found.append({**kept, "limit_before": old[0], "verdict_before": old[1], "margin_before": old[2]})
    return pa.Table.from_pylist(found, schema=CHANGES)


def _plain(batch: Batch) -> Batch:
    """The batch without the statements that were made of it before."""
    return batch.replace(**{name: no_rows(name) for name in (*_STATEMENTS, "findings")})


def _addressed(table: Any, ids: Any, places: Any) -> Any:
    return table.add_column(0, "address", joined(table["record_id"], ids, places))


def _by(bag: BagWriter, by: str | None) -> str | None:
    who, data = people_json(by)
    if data:
        bag.add("people.json", data)
    return who
