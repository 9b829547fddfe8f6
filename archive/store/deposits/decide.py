"""What each record of a deposit is to what stands already: the order of house.md, one kind for each record.

same_file       the same record with the same content, but for what the depositor stated: nothing new
reread          the same file read by another mapping or reader, or by a later state of it: this reading stands, the
                former is kept
same_content    the same in another layout: nothing new
renditions      the same test with other rounding or in less detail: the richer stands
conflicts       the same test with other values, or the same record id with other content: none stands until somebody
                decides
relabelled      the same instrument, time and curves under another label: the former stands until somebody decides
copied_curves   the same curves from another test: stands, and is told, for somebody may have copied a result
retests         the same link at another time
new             none of these
"""

from __future__ import annotations

import sqlite3
from collections import defaultdict
from collections.abc import Callable, Collection, Iterator
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

from archive.store.deposits.known import same_as_handed_in
from archive.store.deposits.same import compare, opposite
from archive.store.records import COUNTED, DECIDED, KNOWN_ALREADY, link_keys, readings
from archive.tables import Batch
from archive.vocabulary.places import PLACE, agree, place

_MOST = 50
"""Candidates that are looked at for one record: more tests of one link on one day than any crew makes."""

_NEEDED = [
    "record_id",
    "digest",
    "link_label",
    "tested_local",
    "local_serial",
    "remote_serial",
    "evidence",
    "points",
    "source_id",
    "source_place",
    "content",
    "curves",
    "scalars",
    "reported_verdict",
    *PLACE,
]

Fetch = Callable[[str], Batch]


@dataclass
class ComparedRecord:
    """A record that is compared: its address "deposit/position", and what its index row says."""

    address: str
    link_key: str | None
    reading: str
    facts: dict[str, Any]
    kind: str = "new"

    def __getattr__(self, name: str) -> Any:
        try:
            return self.facts[name]
        except KeyError:
            raise AttributeError(name) from None


@dataclass
class Decisions:
    """What was decided: pairs (position, address of the former) by kind, and those that a reread replaced."""

    pairs: dict[str, list[tuple[int, str]]] = field(default_factory=lambda: {kind: [] for kind in DECIDED})
    replaced: list[str] = field(default_factory=list)
    count: int = 0

    def counts(self) -> dict[str, int]:
        """Number of records of each kind; every record is of one."""
        found = {kind: len(pairs) for kind, pairs in self.pairs.items()}
        return {"new": self.count - sum(found.values()), **found}

    @property
    def all_known(self) -> bool:
        """Whether every record is there already: the same file, or the same content."""
        return self.count == sum(len(self.pairs[kind]) for kind in KNOWN_ALREADY)

    def plain(self, deposit: str) -> dict[str, Any]:
        """As a ledger entry holds it, the addresses of this deposit's own records written in full."""
        found: dict[str, Any] = {
            kind: [[position, f"{deposit}{former}" if former.startswith("/") else former] for position, former in pairs]
            for kind, pairs in self.pairs.items()
            if pairs
        }
        if self.replaced:
            found["replaced"] = self.replaced
        return found


def decide(
    db: sqlite3.Connection,
    index: Any,
    fetch: Fetch,
    same_bytes: Callable[[str | None], bool] = lambda _source: False,
    not_read: Collection[tuple[str, str]] | None = None,
) -> Decisions:
    """Decides for every row of a deposit's index, in their order, against the archive and the rows before.

    index: table of deposits.index.SCHEMA. fetch: gives a record by address; "/5" is position 5 of this deposit.
    same_bytes: whether a file with this SHA-256 was handed in now. not_read: given where originals of the archive are
    read again on purpose: file and label of links that are set aside in this reading, of which the former one stays.
    """
    made = Decisions(count=index.num_rows)
    there = _There(db)
    rereads: dict[str, set[str]] = defaultdict(set)
    for here in _rows(index):
        former = there.other_reading(here) if not_read is not None else None
        if former is not None and former.link_label == here.link_label and not there.has(here):
            kind = "reread"  # also where it says no more than what does not count as measured, such as a calibration
        else:
            kind, former = _one(here, there, fetch, same_bytes)
        here.kind = kind
        position = int(here.address[1:])
        if former is not None:
            made.pairs[kind].append((position, former.address))
        if kind == "reread":
            rereads[here.source_id].add(here.reading)
            if former is not None and former.reading == here.reading:
                made.replaced.append(former.address)
        there.add(here)
    kept = {address for kind in KNOWN_ALREADY for _, address in made.pairs[kind]}
    for source, new in rereads.items():
        made.replaced.extend(a for a in there.former_readings(source, new, not_read or ()) if a not in kept)
    return made


def _rows(index: Any) -> Iterator[ComparedRecord]:
    columns = [index[n].to_pylist() for n in _NEEDED]
    for i, (key, reading) in enumerate(zip(link_keys(index), readings(index), strict=True)):
        yield ComparedRecord(f"/{i}", key, reading, {n: c[i] for n, c in zip(_NEEDED, columns, strict=True)})


def _one(
    here: ComparedRecord, there: _There, fetch: Fetch, same_bytes: Callable[[str | None], bool]
) -> tuple[str, ComparedRecord | None]:
    namesakes = [old for old in there.by("record_id", here.record_id) if old.reading == here.reading]
    for old in namesakes:
        if old.digest == here.digest or same_as_handed_in(fetch(old.address), fetch(here.address)):
            return "same_file", old
    if namesakes:
        return ("reread" if same_bytes(here.source_id) else "conflicts"), namesakes[0]
    same = [old for old in there.by("content", here.content) if _one_place(here, old)]
    if same:
        return "same_content", same[0]
    former = there.other_reading(here)
    if former is not None:
        return "reread", former
    of_link = [old for old in there.by("link_key", here.link_key) if _one_place(here, old)]
    equal_curves = there.by("curves", here.curves)
    for old in of_link:
        answer = _same_test(here, old, fetch)
        if answer is not None:
            return answer, old
    return _by_curves(here, of_link, equal_curves)


def _by_curves(
    here: ComparedRecord, of_link: list[ComparedRecord], equal_curves: list[ComparedRecord]
) -> tuple[str, ComparedRecord | None]:
    for old in equal_curves:
        if _one_link(here, old) and _units_fit(here, old) and _a_whole_offset(here, old):
            return "renditions", old
    for old in equal_curves:
        same_time = here.tested_local and _times_fit(here, old)
        if not _one_link(here, old) and _units_fit(here, old) and (same_time or _a_whole_offset(here, old)):
            return "relabelled", old
    if equal_curves:
        return "copied_curves", equal_curves[0]
    return ("retests", of_link[-1]) if of_link else ("new", None)


def _same_test(here: ComparedRecord, old: ComparedRecord, fetch: Fetch) -> str | None:
    """renditions or conflicts where two records of one link are one test, else None."""
    if not _times_fit(here, old) or not _units_fit(here, old):
        return None
    precise = all(t and len(t) > len("2019-03-04") for t in (here.tested_local, old.tested_local))
    if here.curves is not None and here.curves == old.curves and here.scalars == old.scalars:
        answer = "agrees" if here.reported_verdict in (None, old.reported_verdict) or not old.reported_verdict else ""
    else:
        answer = ""
    if not answer and opposite(fetch(here.address), fetch(old.address)):
        return None
    answer = answer or compare(fetch(here.address), fetch(old.address))
    if answer == "agrees" or (answer == "nothing in common" and precise):
        return "renditions"
    return "conflicts" if answer == "differs" and precise else None


def _one_link(a: ComparedRecord, b: ComparedRecord) -> bool:
    return a.link_key == b.link_key and _one_place(a, b)


def _one_place(a: ComparedRecord, b: ComparedRecord) -> bool:
    """The same place, as far as both say which: one label at two places is two links."""
    return agree(place(a.facts), place(b.facts))


def _times_fit(a: ComparedRecord, b: ComparedRecord) -> bool:
    """One time is the other, written to the day, the minute or the second."""
    x, y = a.tested_local or "", b.tested_local or ""
    return bool(x) and bool(y) and (x.startswith(y) or y.startswith(x))


def _a_whole_offset(a: ComparedRecord, b: ComparedRecord) -> bool:
    """The times differ as two time zones do: by a multiple of a quarter of an hour, up to 26 hours."""
    try:
        gap = datetime.fromisoformat(a.tested_local) - datetime.fromisoformat(b.tested_local)
    except (TypeError, ValueError):
        return False
    seconds = abs(gap.total_seconds())
    return 0 < seconds <= 26 * 3600 and seconds % 900 == 0


def _units_fit(a: ComparedRecord, b: ComparedRecord) -> bool:
    """The same instrument, as far as both say which."""
    return all(
        not x or not y or x == y for x, y in ((a.local_serial, b.local_serial), (a.remote_serial, b.remote_serial))
    )


_COLUMNS = f"deposit || '/' || position AS address, link_key, reading, kind, {', '.join(_NEEDED)}"


def _seen(row: sqlite3.Row) -> ComparedRecord:
    return ComparedRecord(row["address"], row["link_key"], row["reading"], {n: row[n] for n in _NEEDED}, row["kind"])


class _There:
    """Records that are there already: in the archive, and before this one in the deposit."""

    def __init__(self, db: sqlite3.Connection) -> None:
        self._db = db
        self._new: dict[tuple[str, Any], list[ComparedRecord]] = defaultdict(list)
        self._others: dict[tuple[str, str], tuple[dict[str | None, int], int | None]] = {}
        """Of a file, read otherwise than so: the latest record (its row) of each place, and of all; None where none is
        there."""

    def by(self, column: str, value: Any) -> list[ComparedRecord]:
        """Records with a value in a column, oldest first, at most _MOST of the archive and of the deposit."""
        if value is None:
            return []
        found = self._db.execute(
            f"SELECT {_COLUMNS} FROM records WHERE {column} = ? AND {COUNTED} ORDER BY row LIMIT {_MOST}",
            (value,),
        )
        return [_seen(r) for r in found] + self._new[column, value]

    def other_reading(self, here: ComparedRecord) -> ComparedRecord | None:
        """A record that another mapping or reader gave of the same file: of the same place, or else any."""
        if here.source_id is None:
            return None
        key = here.source_id, here.reading
        if key not in self._others:  # asked once for all records of a file
            found = self._db.execute(
                "SELECT source_place, row FROM records WHERE source_id = ? AND reading != ? ORDER BY row", key
            )
            rows = [tuple(r) for r in found.fetchall()]
            self._others[key] = dict(rows), rows[-1][1] if rows else None
        by_place, latest = self._others[key]
        if latest is None:
            return None
        row = by_place.get(here.source_place, latest)
        return _seen(self._db.execute(f"SELECT {_COLUMNS} FROM records WHERE row = ?", (row,)).fetchone())

    def has(self, here: ComparedRecord) -> bool:
        """Whether this reading of this record is there."""
        return any(old.reading == here.reading for old in self.by("record_id", here.record_id))

    def former_readings(self, source: str, new: set[str], not_read: Collection[tuple[str, str]]) -> list[str]:
        """Addresses of all records that other readings gave of a file, but for links that are not read now."""
        found = self._db.execute(
            "SELECT deposit || '/' || position, reading, link_label FROM records WHERE source_id = ?", (source,)
        )
        return [r[0] for r in found if r[1] not in new and (source, r[2]) not in not_read]

    def add(self, here: ComparedRecord) -> None:
        """A record of the deposit, so that later ones are compared with it."""
        if here.kind in KNOWN_ALREADY:
            return
        for column in ("record_id", "content", "curves", "link_key"):
            value = here.link_key if column == "link_key" else here.facts[column]
            held = self._new[column, value]
            if value is not None and len(held) < _MOST:
                held.append(here)
