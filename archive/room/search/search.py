"""One search: what is asked for, and the answer with the lines that narrow it."""

from __future__ import annotations

import threading
from collections import OrderedDict
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from datetime import date
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

from archive.room.search import kept, typed
from archive.room.search.facets import Facets, Mask, brought_up, empty
from archive.room.search.typed import Hit, Hits
from archive.store import Archive

Rows = NDArray[np.int64]
Order = Literal["newest", "oldest", "least margin"]
ORDERS: tuple[Order, ...] = ("newest", "oldest", "least margin")

_KEPT = 24
_NEVER = 10**7
_FACES = 200
"""Of so many tests that were found, and do not show their link themselves, the link is looked up."""


@dataclass(frozen=True)
class Wanted:
    """What is asked for. text: as typed. chosen: (field, word) to narrow by; the empty word is what is not stated.
    serial: of a unit at either end. since, until: days, ISO 8601, both included; a month or a year too. tests: every
    test, not one row for each link."""

    text: str = ""
    chosen: tuple[tuple[str, str], ...] = ()
    serial: str | None = None
    since: str | None = None
    until: str | None = None
    order: Order = "newest"
    tests: bool = False


@dataclass(frozen=True)
class SearchResult:
    """The answer. rows: of records, in order; all of them, or as many as were kept. hits: how each fits, by row.

    cut: there are more, or may be. typed: what became of the text, None where nothing was typed.
    """

    rows: Rows
    hits: Mapping[int, Hit]
    cut: bool
    typed: Hits | None
    near: list[str] = field(default_factory=list)


class Searching:
    """The arrays of one archive for all threads of a room."""

    def __init__(self) -> None:
        self._facets = empty()
        self._lock = threading.Lock()
        self._kept: OrderedDict[Any, Any] = OrderedDict()
        self._keeping = threading.Lock()

    def facets(self, archive: Archive) -> Facets:
        """The arrays as the catalogue is now; as they were where another thread is just bringing them up."""
        now = archive.db.execute("SELECT value FROM meta WHERE key = 'next'").fetchone()[0]
        held = self._facets
        if held.upto == now:
            return held
        if held.upto and not self._lock.acquire(blocking=False):
            return held
        if not held.upto:
            self._lock.acquire()
        try:
            if not self._facets.upto:
                self._facets = kept.load(archive)
            if self._facets.upto != now:
                self._facets = brought_up(self._facets, archive.db)
                kept.keep(archive, self._facets)
        finally:
            self._lock.release()
        return self._facets

    def search(self, archive: Archive, wanted: Wanted) -> tuple[Facets, SearchResult]:
        """Finds. Errors: sqlite3.Error where the catalogue cannot be read."""
        facets = self.facets(archive)
        if not wanted.text.strip():
            return facets, SearchResult(self._all(archive, facets, wanted), {}, False, None)
        passing = self._mask(archive, facets, wanted)
        key = (facets.upto, wanted.chosen, wanted.serial, wanted.since, wanted.until)
        links = facets.face if wanted.tests else self._once((*key, "links"), lambda: passing & facets.face)
        counted = self._once((*key, "counted"), lambda: passing & facets.counted)
        allowed, of_any = _allows(links), _allows(counted)
        hits = typed.hits(archive.db, wanted.text, allowed, of_any)
        if hits.since is not None or hits.until is not None:
            days = _between(facets, hits.since, hits.until)
            if hits.all:
                since, until = _days(wanted, hits)
                narrowed = replace(wanted, text="", since=since, until=until)
                return facets, SearchResult(self._all(archive, facets, narrowed), {}, False, hits)
            hits.found = [h for h in hits.found if days[h.row]]
        if wanted.tests:
            found = _of_tests(archive, hits, counted)
        else:
            found = _of_links(archive, hits.found, links, facets)
            hits.cut |= sum(not facets.face[h.row] for h in hits.found) > _FACES
        near = typed.nearly(archive.db, wanted.text) if not found else []
        rows = np.array([h.row for h in found], np.int64)
        return facets, SearchResult(rows, {h.row: h for h in found}, hits.cut, hits, near)

    def counts(self, facets: Facets, found: SearchResult, wanted: Wanted, name: str) -> list[tuple[str, int]]:
        """Words of a field among what was found, with their numbers."""
        if found.typed is not None and not found.typed.all:
            return facets.counts(name, found.rows)
        days = (found.typed.since, found.typed.until) if found.typed is not None else None
        key = (facets.upto, "counts", replace(wanted, order="newest"), days, name)
        return list(self._once(key, lambda: facets.counts(name, found.rows)))

    def _all(self, archive: Archive, facets: Facets, wanted: Wanted) -> Rows:
        def ordered() -> Rows:
            base = facets.counted if wanted.tests else facets.face
            rows = np.flatnonzero(self._mask(archive, facets, wanted) & base)
            if wanted.order == "least margin":
                return rows[np.argsort(facets.leading[rows], kind="stable")].astype(np.int64)  # NaN comes last
            days = facets.day[rows]
            old = wanted.order == "oldest"
            keys = (rows, np.where(days, days, _NEVER)) if old else (-rows, -days)
            return rows[np.lexsort(keys)].astype(np.int64)

        found: Rows = self._once((facets.upto, "rows", wanted), ordered)
        return found

    def _mask(self, archive: Archive, facets: Facets, wanted: Wanted) -> Mask:
        """Which records pass the filters."""
        key = (facets.upto, "mask", wanted.chosen, wanted.serial, wanted.since, wanted.until)
        found: Mask = self._once(key, lambda: _passing(archive, facets, wanted))
        return found

    def _once(self, key: Any, make: Callable[[], Any]) -> Any:
        """What was made for a key, made where it is not there; the last few are kept."""
        with self._keeping:
            if key in self._kept:
                self._kept.move_to_end(key)
                return self._kept[key]
        made = make()
        with self._keeping:
            self._kept[key] = made
            while len(self._kept) > _KEPT:
                self._kept.popitem(last=False)
        return made


def _passing(archive: Archive, facets: Facets, wanted: Wanted) -> Mask:
    mask: Mask = np.ones(facets.rows, bool)
    for name, word in wanted.chosen:
        mask &= facets.where(name, _fits(name, word)) if word else facets.codes[name] == 0
    if wanted.since is not None or wanted.until is not None:
        mask &= _between(facets, wanted.since, wanted.until)
    if wanted.serial is not None:
        found = archive.db.execute(
            "SELECT row FROM records WHERE local_serial = ?1 UNION SELECT row FROM records WHERE remote_serial = ?1 "
            "AND remote_serial IS NOT local_serial",
            (wanted.serial,),
        )
        listed: Mask = np.zeros(facets.rows, bool)
        listed[[r[0] for r in found if r[0] < facets.rows]] = True
        mask &= listed
    return mask


def _fits(name: str, word: str) -> Callable[[str], bool]:
    """Whether a word of a field is meant: a cable type with what is under it, a limit with each part of its name."""
    if name == "cable_type":
        return lambda held: held == word or held.startswith(word + "/")
    if name == "limit":
        return lambda held: held == word or f"/{word}/" in f"/{held}/"
    if name == "site":
        return lambda held: held.casefold() == word.casefold()
    if name == "role" and word in ("accepted", "current"):
        return lambda held: word in held.split(" and ")
    return lambda held: held == word


def _between(facets: Facets, since: str | None, until: str | None) -> Mask:
    low = _day(since, "0001-01-01") if since else 1
    high = _day(until, "9999-12-31") if until else _NEVER
    return (facets.day >= low) & (facets.day <= high)


def _day(text: str, whole: str) -> int:
    """First or last day that a text means. Errors: ValueError where it is none."""
    if len(text) == len("2019-05") and whole.startswith("9"):
        year, month = int(text[:4]), int(text[5:7])
        return date(year + month // 12, month % 12 + 1, 1).toordinal() - 1
    return date.fromisoformat(text + whole[len(text) :]).toordinal()


def _days(wanted: Wanted, hits: Hits) -> tuple[str | None, str | None]:
    since = max(filter(None, (wanted.since, hits.since)), default=None)
    return since, min(filter(None, (wanted.until, hits.until)), default=None)


def _allows(mask: Mask) -> Callable[[int], bool]:
    size = len(mask)
    return lambda row: row < size and bool(mask[row])


def _of_links(archive: Archive, found: list[Hit], links: Mask, facets: Facets) -> list[Hit]:
    """Hits of records as hits of the links they are of."""
    out = {hit.row: hit for hit in found if facets.face[hit.row] and links[hit.row]}
    for hit in [h for h in found if not facets.face[h.row]][:_FACES]:
        row = _face(archive, hit.row)
        if row is not None and row < len(links) and links[row]:
            out.setdefault(row, Hit(row, hit.how, hit.label, hit.former))
    return list(out.values())


def _face(archive: Archive, row: int) -> int | None:
    """The record that shows the link of a record."""
    found = archive.db.execute(
        "SELECT l.row FROM records r JOIN records f ON f.link_key = r.link_key AND f.link IS r.link "
        "JOIN link_labels l ON l.row = f.row AND NOT l.former WHERE r.row = ? LIMIT 1",
        (row,),
    ).fetchone()
    return None if found is None else int(found[0])


def _of_tests(archive: Archive, hits: Hits, passing: Mask) -> list[Hit]:
    """Hits of links as hits of all their tests."""
    out: dict[int, Hit] = {}
    for hit in hits.found:
        if len(out) >= typed.HITS:
            hits.cut = True
            break
        for row in [hit.row] if hit.how == "words" else _tests(archive, hit.row):
            if row < len(passing) and passing[row]:
                out.setdefault(row, Hit(row, hit.how, hit.label, hit.former))
    return list(out.values())


def _tests(archive: Archive, row: int) -> list[int]:
    """All records of the link of a record, the newest test first."""
    found = archive.db.execute(
        "SELECT r.row FROM records f JOIN records r ON r.link_key = f.link_key AND r.link IS f.link WHERE f.row = ? "
        "ORDER BY coalesce(r.tested_local, r.tested_at, '') DESC, r.row DESC",
        (row,),
    )
    return [int(r[0]) for r in found]
