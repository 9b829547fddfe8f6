"""What somebody typed into one field: a label as it was remembered, days, or words; and what was perhaps meant."""

from __future__ import annotations

import re
import sqlite3
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from functools import cache
from itertools import chain, islice

from archive.near_names import near
from archive.store.catalogue import link_labels
from archive.store.catalogue.label_search import ALIKE, BEGINS, EXACT, PART, certain, fits, match_words
from archive.store.catalogue.link_labels import GRAM, HeldLabel
from archive.store.catalogue.standing_columns import fold

HITS = 500
"""So many links that fit are kept."""

LOOKED_AT = 4_000
"""So many labels that may fit are looked at one by one."""

WALKED = 50_000
"""Up to so many labels, all are walked through for one or two letters in the middle of a label."""

SECONDS = 0.25
"""For so long one question of what was typed may take."""

_STEPS = 20_000
_RANKS = (EXACT, ALIKE, BEGINS, PART)
_PLAIN = re.compile(r"[\W_]")


@dataclass(frozen=True)
class Hit:
    """A record that shows a link that fits. how: as in label_search, or "words". label: the one that fits; former:
    whether it is a former one."""

    row: int
    how: str
    label: str = ""
    former: bool = False


@dataclass
class Hits:
    """What was found. cut: there may be more. begun_alone: only beginnings of labels were looked at. since, until: days
    that were read out of what was typed. slow: it took too long, and was ended."""

    found: list[Hit] = field(default_factory=list)
    cut: bool = False
    begun_alone: bool = False
    since: str | None = None
    until: str | None = None
    slow: bool = False
    all: bool = False
    """Nothing but days was typed: all records of these days."""


Allowed = Callable[[int], bool]


def hits(db: sqlite3.Connection, typed: str, allowed: Allowed, counted: Allowed) -> Hits:
    """Links that fit, the surest first: labels to the letter, alike, beginning so, holding it; then days, then words.

    allowed: whether the record that shows a link passes the filters; counted: the same of any record.
    """
    deadline = time.monotonic() + SECONDS
    db.set_progress_handler(lambda: time.monotonic() > deadline, _STEPS)
    out = Hits()
    try:
        _labels(db, typed, allowed, out)
        if not out.found:
            rest, out.since, out.until = days(typed)
            if out.since is not None:
                out.all = not rest
                if rest:
                    _labels(db, rest, allowed, out)
            if rest and not out.found:
                _words(db, rest, counted, out)
    except sqlite3.OperationalError as error:
        if "interrupted" not in str(error):
            raise
        out.slow = out.cut = True
    finally:
        db.set_progress_handler(None, 0)
    return out


def nearly(db: sqlite3.Connection, typed: str) -> list[str]:
    """Labels that were perhaps meant: of those that share a half with what was typed, the nearest."""
    folded = fold(typed) or ""
    half = len(folded) // 2
    if half < 1:
        return []
    first = islice(link_labels.beginning(db, folded[:half]), 200)
    parts = (folded[:half], folded[half:])
    some = (islice(link_labels.holding(db, part), 200) for part in parts if len(part) >= GRAM)
    known = {h.folded: h.label for h in chain(first, *some)}
    return [known[name] for name in near(folded, known)]


def _labels(db: sqlite3.Connection, typed: str, allowed: Allowed, out: Hits) -> None:
    folded, seen = fold(typed) or "", set[int]()
    out.begun_alone = False

    def kept(held: HeldLabel, how: str) -> bool:
        """Whether there is room for more."""
        if held.row not in seen and allowed(held.row):
            seen.add(held.row)
            out.found.append(Hit(held.row, how, held.label, bool(held.former)))
        return len(out.found) < HITS

    for held in list(link_labels.same(db, folded)):
        if folded or held.label == typed:
            kept(held, EXACT if held.label == typed else ALIKE)
    for looked, (held, how) in enumerate(_candidates(db, typed, folded, out), 1):
        if (how is not None and not kept(held, how)) or looked >= LOOKED_AT:
            out.cut = True
            break
    out.found.sort(key=lambda h: (_RANKS.index(h.how), h.former))


def _candidates(db: sqlite3.Connection, typed: str, folded: str, out: Hits) -> Iterator[tuple[HeldLabel, str | None]]:
    """Labels that may fit, the cheapest to find first, and how each does."""
    sure, letters = certain(typed), typed.strip()
    if not sure and not folded:
        return
    if sure:
        yield from ((held, _how(typed, folded, held)) for held in link_labels.beginning(db, sure))
    if len(letters) >= GRAM:
        for held in link_labels.literally(db, letters):
            yield held, BEGINS if held.label.casefold().startswith(letters.casefold()) else PART
    if len(sure) >= GRAM or link_labels.count(db) <= WALKED:
        yield from ((held, _how(typed, folded, held)) for held in link_labels.holding(db, sure))
    else:
        out.begun_alone = len(letters) < GRAM


def _how(typed: str, folded: str, held: HeldLabel) -> str | None:
    """How a label fits; the plain cases without taking it apart: what stands there as it was typed, and what was typed
    without separators."""
    letters = typed.strip().casefold()
    at = held.label.casefold().find(letters) if letters and held.folded != folded else -1
    if at >= 0:
        return PART if at else BEGINS
    if folded and folded in held.folded and not _PLAIN.search(typed.strip()):
        if held.folded == folded:
            return ALIKE
        return BEGINS if held.folded.startswith(folded) else PART
    return fits(typed, held.label)


def _words(db: sqlite3.Connection, typed: str, counted: Allowed, out: Hits) -> None:
    """Records with all words; each record once, the one that came last first."""
    long = [w for w in re.findall(r"\w+", typed) if len(w) > 1]
    if not long:
        return
    rows = db.execute("SELECT rowid FROM words WHERE words MATCH ? ORDER BY rowid DESC", (match_words(" ".join(long)),))
    for looked, (row,) in enumerate(rows, 1):
        if counted(row):
            out.found.append(Hit(int(row), "words"))
        if len(out.found) >= HITS or looked >= LOOKED_AT:
            out.cut = True
            return


_ISO = re.compile(r"(?:19|20)\d\d(?:-(?:0[1-9]|1[0-2])(?:-(?:0[1-9]|[12]\d|3[01]))?)?")
_DOTTED = re.compile(r"(\d\d?)\.(\d\d?)\.((?:19|20)\d\d)")


def days(typed: str) -> tuple[str, str | None, str | None]:
    """What was typed without its day, and the day as the first and last that it may mean; None where none is typed.

    Days: 2019, 2019-05, 2019-05-02, 2.5.2019, and a month by its name with a year. Day before month is the order that
    dots mean; with slashes it is not known which is which, so they are no day.
    """
    rest, found = list[str](), list[str]()
    month = ""
    for word in typed.split():
        dotted = _DOTTED.fullmatch(word)
        if dotted is not None and 1 <= int(dotted[2]) <= 12:
            found.append(f"{dotted[3]}-{int(dotted[2]):02d}-{int(dotted[1]):02d}")
        elif _ISO.fullmatch(word):
            found.append(f"{word}-{month}" if month and len(word) == 4 else word)
        elif word.casefold().strip(".") in _months():
            month = f"{_months()[word.casefold().strip('.')]:02d}"
        else:
            rest.append(word)
    if not found:
        return typed, None, None
    return " ".join(rest), min(found), max(found)


@cache
def _months() -> dict[str, int]:
    """Names of months in the languages of the pages."""
    from babel.dates import get_month_names

    return {
        str(name).casefold().strip("."): number
        for language in ("en", "de", "fr", "es")
        for width in ("wide", "abbreviated")
        for number, name in get_month_names(width, locale=language).items()
    }
