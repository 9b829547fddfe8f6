"""Making a deposit: batches and originals stream into a bag aside; renaming it and one ledger entry make it true."""

from __future__ import annotations

import json
import secrets
import sqlite3
from collections import Counter
from dataclasses import dataclass, field
from functools import cached_property
from pathlib import Path
from typing import Any

import pyarrow as pa
import pyarrow.compute as pc

from archive import disk
from archive.errors import Trouble
from archive.store import aside, clock, files, layout, merkle
from archive.store.archive import Archive
from archive.store.bags import TAG_MANIFEST, BagWriter
from archive.store.deposits import index
from archive.store.deposits.confirmed import NotAsConfirmed, decided
from archive.store.deposits.decide import Decisions, decide
from archive.store.deposits.fetch import Fetcher
from archive.store.deposits.handed_in import HandedIn
from archive.store.deposits.known import KnownRecords, members
from archive.store.deposits.originals import Originals
from archive.store.deposits.receipt import Receipt, bare, how_read, made_at, of_entry
from archive.store.events.keep_schema import keep_schema
from archive.store.ledger.entry import Sign
from archive.store.parquet import TableFiles, options
from archive.store.parquet.sweeps import packed
from archive.store.records import DECLARED_WHOLE, KNOWN_ALREADY, PLACE, WHOLE, reading, split_address
from archive.tables import Batch, person_key
from archive.tables.canonical import record_digests
from archive.tables.order import ordered

_INDEX_ROWS = 4096


@dataclass(frozen=True)
class DepositFacts:
    """What a person says with a deposit. by: the depositor's name, where it was stated."""

    job: str | None = None
    site: str | None = None
    zone: str | None = None
    by: str | None = None
    reason: str | None = None
    more: dict[str, Any] = field(default_factory=dict)


class _NothingNew(Exception):
    """Every record is in the archive already, as the last look at it says."""

    def __init__(self, made: Decisions) -> None:
        super().__init__()
        self.made = made


class Deposit:
    """A deposit being made. add() batches, original() files, attach() what was used; then commit(), or abandon().

    Nothing of it is in the archive before commit() has returned, and all of it is then.
    """

    def __init__(self, archive: Archive, facts: DepositFacts, sign: Sign | None = None, *, trial: bool = False) -> None:
        """trial: do everything but the commit, in a temporary folder, with no right to write in the archive."""
        self.archive, self.facts, self.sign, self.trial = archive, facts, sign, trial
        archive.catch_up()
        if not trial:
            keep_schema(archive)
        self.at = clock.now()
        self.id = layout.new_id(self.at)
        self.aside = aside.elsewhere() if trial else aside.begin(archive, self.id)
        try:
            self._bag = BagWriter(self.aside.folder / self.id)
        except OSError:
            self.aside.end()
            raise
        self._tables = TableFiles(self._bag)
        self._originals = Originals(self._bag)
        self._index: list[Any] = []
        self._index_writer: Any = None
        self._leaves: list[bytes] = []
        self._findings: Counter[str] = Counter()
        self._set_aside = 0
        self._handed = HandedIn()
        self._listed = 0
        self.whole_schedule = False
        """A schedule among the batches is all that is to be built; what it leaves out is no more."""
        self.rereading = False
        """Originals of the archive are read again: schedules are left alone, and nothing that was read is set aside."""
        self._not_read = set[tuple[str, str]]()
        self._same_file = 0
        self._known_sources: Counter[str] = Counter()
        self._known = KnownRecords(archive)
        self._gone = self._originals_gone()
        self._paths: list[Path] = []
        self._received: list[dict[str, Any]] = []
        self.limits: set[str] = set()
        self.mappings: set[str] = set()
        self.mapping_use: dict[str, str] = {}
        """How each mapping came to be used, by SHA-256: words of store.mapping_use."""
        self.lines: list[dict[str, Any]] = []
        """Lines of schedules that were added, with the place of the local end."""
        self.read_files: list[dict[str, Any]] = []
        """How each file was read: its name, layout, records, rows set aside, mapping, and what a draft left out."""
        self.confirmed: str | None = None
        """What a dry run came to (`decided` of its receipt) and somebody confirmed: it is deposited so, or not."""
        self.done = False
        self.by = self._depositor() if facts.by else None

    def add(self, batch: Batch) -> None:
        """The next batch, its statements filled in. Records of a file that was read so before are left out."""
        self._originals.start()
        batch = self._read_again(batch) if self.rereading else batch
        batch, digests = self._unknown(batch, record_digests(ordered(batch)))
        batch = self._unlisted(batch)
        self._findings.update(_severities(batch["findings"]))
        self._set_aside += batch["set_aside"].num_rows
        self._handed.add(batch["findings"], batch["verdicts"], batch["set_aside"])
        self.limits.update(pc.unique(batch["verdicts"]["limit_id"]).drop_null().to_pylist())
        self.mappings.update(pc.unique(batch["sources"]["mapping_sha256"]).drop_null().to_pylist())
        places = {p["place_id"]: p for p in batch["places"].to_pylist()} if batch["schedule"].num_rows else {}
        for line in batch["schedule"].to_pylist():
            place = places.get(line["local_place_id"], {})
            self.lines.append({**line, **{name: place.get(name) for name in PLACE}})
        if not len(batch) and not any(t.num_rows for _, t in batch.items()):
            return
        batch = ordered(batch)
        curves = packed(batch["sweeps"])
        rows = index.rows(batch, self._tables.count, digests, job=self.facts.job, site=self.facts.site, curves=curves)
        self._tables.add(batch, curves)
        self._leaves.extend(merkle.leaf(d.encode()) for d in digests)
        if len(batch):
            self._write_index(rows)
            self._index.append(rows.drop_columns(["sweeps"]))

    def known(self, count: int) -> None:
        """Counts records that came a second time from the same place of the same file."""
        self._same_file += count

    def original(self, source: Path, name: str, *, schedule: bool = False) -> None:
        """A file as received; name: its path inside what was handed in, with / between folders.

        All originals come before the first batch. Where the archive holds the same bytes already, deposit.json names
        the deposit that does, and they are not stored again.
        """
        self._paths.append(source)
        found = files.fingerprint(source)
        kept = self.archive.holding(found.sha256)
        if kept is None:
            self._originals.add(source, name)
        told = {"name": name, "sha256": found.sha256, "bytes": found.bytes, **({"schedule": True} if schedule else {})}
        self._received.append({**told, "kept_in": kept} if kept else told)

    def attach(self, path: str, data: bytes) -> None:
        """What was used: a mapping (mappings/...), limit lines (limits/...); path inside data/."""
        self._bag.add(path, data)

    def commit(self) -> Receipt:
        """Makes the deposit true and gives its receipt. Where nothing is new, nothing is left behind.

        Errors: OSError where the disk fails; Trouble where the archive is damaged.
        """
        self._originals.finish()
        self._tables.finish()
        if self._index_writer is not None:
            self._index_writer.close()
            self._bag.close("index.parquet")
        table = self._indexed()
        if not self._tables.count and not self._set_aside and not self._listed:
            return self._as_if(Decisions())
        self._bag.add("deposit.json", self._said())
        tag = self._bag.finish(self._information())
        fetch = Fetcher(self.archive, self._bag.folder)
        if self.trial:
            return self._as_if(decide(self.archive.db, table, fetch, self._same_bytes, self._again))
        place = layout.deposit_path(self.at, self.id)
        disk.move_in(self._bag.folder, self.archive.root / place)
        disk.sync_folder(self.aside.folder)
        fetch.own = self._bag.folder if self._bag.folder.is_dir() else self.archive.root / place

        def fields() -> dict[str, Any]:
            self._require_kept()
            made = decide(self.archive.db, table, fetch, self._same_bytes, self._again)
            if self.confirmed is not None and self.confirmed != self._decided(made):
                raise NotAsConfirmed(self._nothing_new(made), str(self.archive.root))
            if made.all_known and not self._listed and not (self._set_aside and self._unseen):
                raise _NothingNew(made)
            return self._entry(place, tag, made)

        try:
            entry = self.archive.commit(fields, self.aside.folder, self.sign)
        except _NothingNew as nothing:
            return self._as_if(nothing.made)
        self.done = True
        self.aside.end()
        try:
            return of_entry(self.archive, entry)
        except (Trouble, OSError, sqlite3.Error) as error:
            return bare(entry, error)

    def abandon(self) -> None:
        """Removes what was written, unless it is true by now."""
        if self.done:
            return
        self._originals.give_up()
        self._bag.release()
        if self.trial:
            self.aside.end()
        else:
            aside.take_back(self.archive, self.aside.folder)

    def _require_kept(self) -> None:
        """Errors: Trouble where originals that this deposit found here are not here any more."""
        if self._gone != self._originals_gone():
            raise Trouble(
                "files were redacted or disposed of while this was read; nothing was deposited",
                code="deposit.gone-meanwhile",
                where=str(self.archive.root),
                remedy="run it again",
            )

    def _originals_gone(self) -> int:
        """Files with originals or records that are gone: what was found here before may not be any more."""
        found = self.archive.db.execute(
            "SELECT count(*) FROM gone WHERE path LIKE '%/data/originals%' OR path LIKE '%/data/index.parquet'"
        )
        return int(found.fetchone()[0])

    @property
    def _again(self) -> set[tuple[str, str]] | None:
        return self._not_read if self.rereading else None

    def _same_bytes(self, source: str | None) -> bool:
        """Whether a file with these bytes was handed in: then its records are another reading, no other content."""
        return source is not None and source in self._handed_in

    @cached_property
    def _handed_in(self) -> set[str]:
        return members(path for path in self._paths if path.is_file())

    def _as_if(self, made: Decisions) -> Receipt:
        """Leaves nothing behind; the receipt that a commit would give."""
        self.abandon()
        return self._nothing_new(made)

    @property
    def _unseen(self) -> bool:
        """Whether a file was received that the archive does not hold; without originals nobody knows."""
        if self.rereading:
            return False
        return not self._received or any("kept_in" not in told for told in self._received)

    def _nothing_new(self, made: Decisions) -> Receipt:
        counts = made.counts()
        counts["same_file"] += self._same_file
        known = self._here_already(made)
        here = [{**h, "at": made_at(self.archive, h["deposit"])} for h in known]
        elsewhere = [h for h in known if h["job"] != self.facts.job]
        details = {
            **how_read(self.read_files, self.mapping_use),
            **self._handed.plain(self._tables.count),
            **({"here": here} if here else {}),
            **({"elsewhere": elsewhere} if elsewhere else {}),
            "received": self._received,
            **({"decided": self._decided(made)} if self.trial or self.confirmed is not None else {}),
        }
        return Receipt(None, self.archive.head(), counts, dict(self._findings), self._set_aside, details)

    def _decided(self, made: Decisions) -> str:
        content = {
            "same_file": self._same_file,
            "set_aside": self._set_aside,
            "findings": dict(sorted(self._findings.items())),
            "listed": [[line["schedule_id"], line["job_id"]] for line in self.lines] if self._listed else [],
            "whole": self.whole_schedule,
            "facts": [self.facts.job, self.facts.site, self.facts.zone],
        }
        return decided(made, self._indexed(), content, self._received)

    def _indexed(self) -> pa.Table:
        """What the index says of the records so far."""
        return pa.concat_tables(self._index) if self._index else index.SCHEMA.empty_table()

    def _here_already(self, made: Decisions) -> list[dict[str, Any]]:
        """Records that are here already: job, deposit, and how many of those handed in."""
        db, found = self.archive.db, Counter[tuple[str, str]]()
        for source, count in self._known_sources.items():
            row = db.execute(
                "SELECT job_id, deposit FROM records WHERE source_id = ? ORDER BY job_id IS ? DESC, row",
                (source, self.facts.job),
            ).fetchone()
            if row is not None:
                found[row[0], row[1]] += count
        for kind in KNOWN_ALREADY:
            for _, address in made.pairs[kind]:
                if row := db.execute(
                    "SELECT job_id, deposit FROM records WHERE deposit = ? AND position = ?", split_address(address)
                ).fetchone():
                    found[row[0], row[1]] += 1
        return [
            {"job": job, "deposit": deposit, "records": count}
            for (job, deposit), count in sorted(found.items(), key=str)
        ]

    def _entry(self, place: str, tag: Any, made: Decisions) -> dict[str, Any]:
        counts = made.counts()
        counts["same_file"] += self._same_file
        said = {name: getattr(self.facts, name) for name in ("job", "site", "zone")}
        return {
            "kind": "deposit",
            "by": self.by,
            **{k: v for k, v in said.items() if v is not None},
            **self.facts.more,
            "deposit": self.id,
            "path": place,
            "records": self._tables.count,
            "root": merkle.root(self._leaves).hex(),
            "counts": counts,
            "findings": dict(sorted(self._findings.items())),
            "set_aside": self._set_aside,
            "decisions": made.plain(self.id),
            **({"schedule": DECLARED_WHOLE if self.whole_schedule else WHOLE} if self._listed else {}),
            **({"confirmed": self.confirmed} if self.confirmed else {}),
            **({"mappings": dict(sorted(self.mapping_use.items()))} if self.mapping_use else {}),
            **({"here": here} if (here := self._here_already(made)) else {}),
            **({"elsewhere": other} if (other := [h for h in here if h["job"] != self.facts.job]) else {}),
            "files": {f"{place}/{TAG_MANIFEST}": {"sha256": tag.sha256, "bytes": tag.bytes}},
        }

    def _said(self) -> bytes:
        """What the person said, with the texts that only this file holds."""
        f = self.facts
        said = {"job": f.job, "site": f.site, "zone": f.zone, "reason": f.reason, **f.more}
        said["originals"] = self._received
        if self.read_files:
            said["files"] = self.read_files
        return (json.dumps(said, ensure_ascii=False, indent=1) + "\n").encode()

    def _information(self) -> list[tuple[str, str]]:
        f = self.facts
        said = [("Internal-Sender-Identifier", f.job), ("Internal-Sender-Description", f.site)]
        return [("External-Identifier", self.id), *((k, v) for k, v in said if v)]

    def _depositor(self) -> str:
        """The depositor's name goes into the people table of this bag, and its key into the entry."""
        salt = secrets.token_hex(16)
        key = person_key(salt, str(self.facts.by))
        row = {"person_key": key, "salt": salt, "name": self.facts.by, "role": "depositor"}
        self._tables.add(Batch.from_rows({"people": [row]}))
        return key

    def _unknown(self, batch: Batch, digests: list[str]) -> tuple[Batch, list[str]]:
        """The batch and the digests of its records, without those that are in the archive, or came before, with the
        same content."""
        ids = batch["records"]["record_id"].to_pylist()
        known = self._known.of(batch, digests) if ids else set()
        sources = {r["source_id"]: reading(r["mapping_sha256"], r["reader"]) for r in batch["sources"].to_pylist()}
        held = {source for source, way in sources.items() if self._held(source, way)}
        # One source may come in parts, as when an export was converted and split: only what is there is left out.
        by = list(zip(ids, batch["records"]["source_id"].to_pylist(), strict=True))
        held -= {source for i, source in by if i not in known}
        if not known and not held:
            return batch, digests
        self._same_file += len(known)
        self._known_sources.update(source for i, source in by if i in known and source)
        kept = batch.select(i for i in ids if i not in known)
        kept = kept.replace(sources=_without(kept["sources"], held), set_aside=_without(kept["set_aside"], held))
        return kept, [d for i, d in zip(ids, digests, strict=True) if i not in known]

    def _read_again(self, batch: Batch) -> Batch:
        """The batch without schedules, and without files that are set aside now and were read before. Of a link that
        is set aside now the former reading goes on to count."""
        rows = batch["set_aside"].select(["source_id", "link_label", "place"]).to_pylist()
        read = {r["source_id"] for r in rows if r["source_id"] and self._was_read(r["source_id"])}
        self._not_read |= {(r["source_id"], r["link_label"]) for r in rows if r["source_id"] and r["link_label"]}
        here = set(batch["records"]["source_id"].to_pylist())
        whole = [
            bool(r["source_id"] in read and not r["link_label"] and not (r["place"] and r["source_id"] in here))
            for r in rows
        ]
        kept = batch["set_aside"].filter(pa.array([not w for w in whole], pa.bool_()))
        return batch.replace(set_aside=kept, schedule=batch["schedule"].slice(0, 0))

    def _was_read(self, source: str) -> bool:
        found = self.archive.db.execute(
            "SELECT 1 FROM records WHERE source_id = ? AND NOT withdrawn AND NOT replaced LIMIT 1", (source,)
        )
        return found.fetchone() is not None

    def _unlisted(self, batch: Batch) -> Batch:
        """The batch without a schedule that the archive holds for this job, line for line, as the latest."""
        scheduled = batch["schedule"]
        if scheduled.num_rows:
            held = self.archive.db.execute(
                "SELECT schedule_id, whole FROM schedule WHERE job_id IS ?1 AND number = "
                "(SELECT max(number) FROM schedule WHERE job_id IS ?1)",
                (self.facts.job,),
            ).fetchall()
            here, there = set(scheduled["schedule_id"].to_pylist()), {r["schedule_id"] for r in held}
            known = here == there and held[0]["whole"] == 2 if self.whole_schedule else here <= there
            if known:
                scheduled = scheduled.slice(0, 0)
                batch = batch.replace(schedule=scheduled)
        self._listed += scheduled.num_rows
        return batch

    def _held(self, source: str, reading: str) -> bool:
        db = self.archive.db
        found = db.execute("SELECT 1 FROM sources WHERE source_id = ? AND reading = ?", (source, reading)).fetchone()
        return found is not None

    def _write_index(self, rows: Any) -> None:
        if self._index_writer is None:
            self._index_writer = options.writer(self._bag.open("index.parquet"), index.SCHEMA)
        self._index_writer.write_table(rows, row_group_size=_INDEX_ROWS)


def _without(table: Any, sources: set[str]) -> Any:
    return table.filter(pc.invert(pc.is_in(table["source_id"], value_set=pa.array(sorted(sources), pa.string()))))


def _severities(findings: Any) -> dict[str, int]:
    raised = findings.filter(pc.not_equal(findings["status"], "could not look"))
    return dict(Counter(raised["severity"].to_pylist()))
