"""What narrows a search, as one array of small numbers for each field: a million records take some 40 MB.

Each field has a list of its words, and each record the number of its word. They are read from the catalogue block by
block, only blocks in which something changed again, and swapped as a whole: whoever reads never waits for a writer.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from datetime import date

import numpy as np
from numpy.typing import NDArray

from archive.store.catalogue.standing_columns import BLOCK_BITS

Codes = NDArray[np.int32]
Mask = NDArray[np.bool_]

_SIZE = 1 << BLOCK_BITS

FIELDS = (
    "site",
    "building",
    "floor",
    "space",
    "job",
    "year",
    "cable_type",
    "limit",
    "verdict",
    "role",
    "medium",
    "evidence",
    "unit",
)
"""Fields that narrow. unit: serial number of the unit at the local end."""

_ROLES = (
    "CASE WHEN r.unit IS r.row AND r.accepted_unit IS r.row THEN 'accepted and current' "
    "WHEN r.unit IS r.row THEN 'current' WHEN r.accepted_unit IS r.row THEN 'accepted' ELSE 'in no role' END"
)
_READ = (
    "SELECT r.row, r.site, r.building, r.floor, r.space, r.job_id, "
    "substr(coalesce(r.tested_local, r.tested_at), 1, 4), "
    f"r.cable_type, coalesce(r.limit_id, r.limit_found), coalesce(r.verdict, 'not graded'), {_ROLES}, r.medium, "
    "r.evidence, r.local_serial, substr(coalesce(r.tested_local, r.tested_at), 1, 10), "
    "r.kind NOT IN ('same_file', 'same_content'), r.leading_margin FROM records r WHERE r.row BETWEEN ? AND ?"
)


@dataclass
class Words:
    """The words of one field. Number 0 is what is not stated. Words are only ever added, so numbers stay."""

    listed: list[str] = field(default_factory=lambda: [""])
    numbers: dict[str, int] = field(default_factory=lambda: {"": 0})

    def encoded(self, words: Sequence[str | None]) -> Codes:
        """Numbers of some words; new words get the next ones."""
        for word in sorted({w for w in set(words) if w} - self.numbers.keys()):
            self.numbers[word] = len(self.listed)
            self.listed.append(word)
        known = {w: self.numbers[w or ""] for w in set(words)}
        return np.fromiter(map(known.__getitem__, words), np.int32, len(words))

    def fitting(self, fits: Callable[[str], bool]) -> Mask:
        """Which numbers stand for words that fit."""
        return np.array([bool(word) and fits(word) for word in list(self.listed)])


@dataclass(frozen=True)
class Facets:
    """Arrays by row of the catalogue.

    upto: entries of the ledger they hold; last: digest of the last of them. codes, words: by field. day: of the test,
    as an ordinal, 0 where it is not known. face: records that show a link. counted: records that count as tests.
    leading: leading margin, NaN for none.
    """

    upto: int
    last: str
    codes: dict[str, Codes]
    words: dict[str, Words]
    day: Codes
    face: Mask
    counted: Mask
    leading: NDArray[np.float32]

    @property
    def rows(self) -> int:
        """Length of the arrays."""
        return len(self.day)

    def where(self, name: str, fits: Callable[[str], bool]) -> Mask:
        """Which records have a word that fits."""
        found = self.words[name].fitting(fits)
        codes = self.codes[name]
        return np.concatenate([found, np.zeros(1, bool)])[np.minimum(codes, len(found))]

    def counts(self, name: str, rows: NDArray[np.int64]) -> list[tuple[str, int]]:
        """Words of some records with their numbers, the most frequent first; "" for not stated."""
        found = np.bincount(self.codes[name][rows])
        used = np.flatnonzero(found)
        listed = self.words[name].listed
        order = sorted(used.tolist(), key=lambda n: (-int(found[n]), listed[n]))
        return [(listed[n], int(found[n])) for n in order]


def empty() -> Facets:
    """No records."""
    none = np.zeros(0, np.int32)
    no = np.zeros(0, bool)
    codes, words = dict.fromkeys(FIELDS, none), {n: Words() for n in FIELDS}
    return Facets(0, "", codes, words, none, no, no, np.zeros(0, np.float32))


def brought_up(held: Facets, db: sqlite3.Connection) -> Facets:
    """The same, as the catalogue is now. held: what was read before of the same catalogue, whose words are added to."""
    db.execute("BEGIN")
    try:
        upto, sha = (db.execute(f"SELECT value FROM meta WHERE key = '{k}'").fetchone()[0] for k in ("next", "last"))
        if not db.execute("SELECT 1 FROM entries WHERE number < ? AND sha256 = ?", (held.upto, held.last)).fetchone():
            held = empty()  # of another ledger, or of none
        if db.execute("SELECT 1 FROM disposals WHERE number >= ?", (held.upto,)).fetchone():
            held = empty()  # what was disposed of is in no block any more that would tell
        last = int(db.execute("SELECT coalesce(max(row), -1) FROM records").fetchone()[0]) + 1
        changed = [int(b) for b, n in db.execute("SELECT block, number FROM counting_changed") if int(n) > held.upto]
        made = _room_for(held, last, int(upto), str(sha))
        for block in sorted(changed):
            _read(made, db, block * _SIZE, min(last, (block + 1) * _SIZE))
    finally:
        db.execute("COMMIT")
    return made


def _room_for(held: Facets, rows: int, upto: int, last: str) -> Facets:
    def grown(array: NDArray[np.generic]) -> NDArray[np.generic]:
        made = np.zeros(rows, array.dtype)
        made[: min(rows, len(array))] = array[:rows]
        return made

    codes = {name: grown(held.codes[name]) for name in FIELDS}
    arrays = [grown(a) for a in (held.day, held.face, held.counted, held.leading)]
    return Facets(upto, last, codes, held.words, *arrays)  # type: ignore[arg-type]


def _read(made: Facets, db: sqlite3.Connection, low: int, high: int) -> None:
    """One block, written over what was there."""
    made.face[low:high] = False
    made.counted[low:high] = False
    columns = [*zip(*db.execute(_READ, (low, high - 1)).fetchall(), strict=True)]
    if not columns:
        return
    rows, *named, days, counted, leading = columns
    at = np.array(rows)
    for name, words in zip(FIELDS, named, strict=True):
        made.codes[name][at] = made.words[name].encoded(words)
    ordinals = {day: _ordinal(day) for day in set(days)}
    made.day[at] = np.fromiter(map(ordinals.__getitem__, days), np.int32, len(days))
    made.counted[at] = np.array(counted, bool)
    made.leading[at] = np.array([np.nan if m is None else m for m in leading], np.float32)
    shown = db.execute("SELECT row FROM link_labels WHERE row BETWEEN ? AND ? AND NOT former", (low, high - 1))
    made.face[[r[0] for r in shown.fetchall()]] = True


def _ordinal(day: str | None) -> int:
    """A day as an ordinal; of a day that is known to the month or year the first; 0 where it is none."""
    text = day or ""
    try:
        return date.fromisoformat(text + "-01-01"[len(text) - 4 :] if 4 <= len(text) < 10 else text).toordinal()
    except ValueError:
        return 0
