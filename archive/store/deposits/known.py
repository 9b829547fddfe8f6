"""Which records of a batch are there already: the same record id with the same content, and nothing less.

What a depositor states for a job (its name, the zone of its site) is in records too, and so is the key of the operator,
which gets a new salt at each reading: the same file handed in again gives other digests. Where digests differ, records
are compared without what was stated, and with the operator's name in place of the key.
"""

from __future__ import annotations

import hashlib
import zipfile
from collections import defaultdict
from collections.abc import Iterable, Iterator
from contextlib import suppress
from pathlib import Path

import pyarrow as pa
import pyarrow.compute as pc

from archive.store import files
from archive.store.archive import Archive
from archive.store.records import reading
from archive.tables import Batch, concat
from archive.tables.canonical import record_digests
from archive.tables.order import ordered

_STATED_TIME = ("tested_at", "utc_offset_min", "zone_basis")


class KnownRecords:
    """Compares batches with the archive, and with the batches before."""

    def __init__(self, archive: Archive) -> None:
        self._archive = archive
        self._before: dict[str, str] = {}

    def of(self, batch: Batch, made: list[str]) -> set[str]:
        """Ids of the records that are there already. Records with a known id and other content are none of them.

        made: the digests of the records, in their order.
        """
        ids = batch["records"]["record_id"].to_pylist()
        digests = dict(zip(ids, made, strict=True))
        known = {i for i in ids if self._before.get(i) == digests[i]}
        self._before.update({i: d for i, d in digests.items() if i not in self._before})
        others: dict[str, str] = {}
        for record, address, digest in self._archived(batch, ids):
            if digest == digests[record]:
                known.add(record)
            else:
                others[record] = address
        others = {i: address for i, address in others.items() if i not in known}
        return known | self._same_but_for_what_was_stated(batch, others) if others else known

    def _archived(self, batch: Batch, ids: list[str]) -> Iterator[tuple[str, str, str]]:
        """Record id, address and digest of each record that was read in the same way and has one of the ids."""
        ways = {r["source_id"]: reading(r["mapping_sha256"], r["reader"]) for r in batch["sources"].to_pylist()}
        marks, read = ", ".join("?" * len(ids)), sorted(set(ways.values()))
        found = self._archive.db.execute(
            f"SELECT record_id, deposit || '/' || position, digest FROM records WHERE record_id IN ({marks}) "
            f"AND reading IN ({', '.join('?' * len(read))})",
            [*ids, *read],
        )
        yield from (tuple(r) for r in found.fetchall())

    def _same_but_for_what_was_stated(self, batch: Batch, addresses: dict[str, str]) -> set[str]:
        by_deposit: dict[str, list[int]] = defaultdict(list)
        for address in addresses.values():
            deposit, _, position = address.rpartition("/")
            by_deposit[deposit].append(int(position))
        same: set[str] = set()
        new = dict(_as_handed_in(batch.select(addresses)))
        for deposit, positions in by_deposit.items():
            old = [record for _, record in self._archive.tables(deposit).select(positions)]
            same |= {i for i, found in _as_handed_in(concat(old)) if i in new and _equal(new[i], found)}
        return same


def same_as_handed_in(one: Batch, other: Batch) -> bool:
    """Whether two records are equal but for what their depositors stated."""
    first, second = (found for batch in (one, other) for _, found in _as_handed_in(batch))
    return _equal(first, second)


def _as_handed_in(batch: Batch) -> Iterator[tuple[str, tuple[str, str | None]]]:
    """Record id, digest without what a depositor stated for the job, and name of the operator.

    The key of an operator gets a new salt at each reading, so the name is compared in its place.
    """
    batch = ordered(batch)
    records = batch["records"]
    names = {p["person_key"]: p["name"] for p in batch["people"].to_pylist()}
    operators = [names.get(key) for key in records["operator_key"].to_pylist()]
    stated = pc.fill_null(pc.equal(records["zone_basis"], "job"), False)
    for name in ("job_id", "operator_key", *_STATED_TIME):
        column = records[name]
        kept = pc.if_else(stated, None, column) if name in _STATED_TIME else pa.nulls(len(column), column.type)
        at = records.column_names.index(name)
        records = records.set_column(at, records.schema.field(name), kept)
    ids = records["record_id"].to_pylist()
    yield from zip(ids, zip(record_digests(batch.replace(records=records)), operators, strict=True), strict=True)


def _equal(one: tuple[str, str | None], other: tuple[str, str | None]) -> bool:
    """Whether both are the same content; a name that was redacted or never there says nothing."""
    return one[0] == other[0] and (None in (one[1], other[1]) or one[1] == other[1])


def members(received: Iterable[Path]) -> set[str]:
    """SHA-256 of files and of the files in those that are zips, one level deep."""
    found = set()
    for path in received:
        found.add(files.fingerprint(path).sha256)
        with suppress(OSError, zipfile.BadZipFile, RuntimeError, NotImplementedError), zipfile.ZipFile(path) as packed:
            for info in packed.infolist():
                sha = hashlib.sha256()
                with packed.open(info) as member:
                    while piece := member.read(1 << 20):
                        sha.update(piece)
                found.add(sha.hexdigest())
    return found
