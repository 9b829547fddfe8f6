"""Labels that somebody may mean: as people remember them, as they stood before a correction, or as what is left of them
on a sticker."""

from __future__ import annotations

import re
import sqlite3
import unicodedata
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from typing import Any

from archive.store.catalogue.link_labels import GRAM, grams
from archive.store.catalogue.standing_columns import fold, functions

EXACT, ALIKE, BEGINS, PART, WORDS = "exact", "alike", "begins", "part", "words"
"""How a label fits what was typed, the surest first: to the letter; but for case, separators, leading zeros and O for
0; begins with it; holds it elsewhere; has its words as beginnings of words of its own, in any order."""

MOST = 200
"""So many labels of one kind are looked at."""

_CANDIDATES = 20_000
"""So many labels that may hold what was typed are looked at one by one."""

_SAID = {EXACT: "", ALIKE: "", BEGINS: "beginning of the ", PART: "part of the ", WORDS: "words of the "}
_RUN = re.compile(r"[0-9]+|[a-z\u0080-\U0010ffff]+")
_SHORTEST = 2


@dataclass(frozen=True)
class LabelMatch:
    """A label that fits. how: one of the kinds above. former: the former label that fits instead of it, "" for none;
    then only the link with this link_key is meant."""

    label: str
    how: str
    former: str = ""
    link_key: str = ""

    def plain(self) -> dict[str, Any]:
        """As one JSON object: how, and the word that fits."""
        return {"how": self.how, "label": self.former or self.label, "former": bool(self.former)}

    def __str__(self) -> str:
        """What was matched, in words; empty where it is the whole label."""
        if self.former:
            return f"{_SAID[self.how]}former label {self.former}"
        return f"{_SAID[self.how]}label" if _SAID[self.how] else ""


def matches(db: sqlite3.Connection, typed: str, *, job: str | None = None, site: str | None = None) -> list[LabelMatch]:
    """Labels that fit, the surest first: those to the letter alone, else those that are alike with those that hold it.

    Words in any order are looked for last. Present labels go before former ones of the same kind.
    """
    look = _Look(db, typed, job, site)
    for tier in ((look.exact,), (look.alike, look.parts), (look.words,)):
        found = [m for kind in tier for m in kind()]
        if found:
            return list(_once(found))
    return []


def crowded(db: sqlite3.Connection, typed: str) -> bool:
    """Whether more labels may hold what was typed than are looked at one by one: some that fit may not be found."""
    functions(db)
    inner, held = _holding(certain(typed))
    count = db.execute(f"SELECT count(*) FROM ({inner} LIMIT {_CANDIDATES + 1})", held).fetchone()[0]
    return int(count) > _CANDIDATES


def labels(db: sqlite3.Connection, typed: str, *, job: str | None = None, site: str | None = None) -> list[str]:
    """Labels that somebody may mean by one link, the surest kind of match alone.

    A present label goes before a former one where the whole of it fits; where a part does, both may be meant.
    """
    found = matches(db, typed, job=job, site=site)
    if not found:
        return []
    first = found[0]
    whole = first.how in (EXACT, ALIKE)
    alone = [m for m in found if m.how == first.how and not (whole and m.former and not first.former)]
    return sorted({m.label for m in alone})


class _Look:
    """One search. job, site: only records of these."""

    def __init__(self, db: sqlite3.Connection, typed: str, job: str | None, site: str | None) -> None:
        functions(db)
        self.db, self.typed, self.folded = db, typed, fold(typed) or ""
        self.narrow, self.given = "", list[Any]()
        if job is not None:
            self.narrow, self.given = self.narrow + " AND r.job_id = ?", [*self.given, job]
        if site is not None:
            self.narrow, self.given = self.narrow + " AND r.site = ? COLLATE NOCASE", [*self.given, site]

    def exact(self) -> Iterator[LabelMatch]:
        """Labels to the letter."""
        yield from self._present("r.link_label = ?", [self.typed], EXACT)
        yield from self._former("a.old = ?", [self.typed], EXACT)

    def alike(self) -> Iterator[LabelMatch]:
        """Labels that fold to the same."""
        yield from self._present("r.folded = ?", [self.folded], ALIKE)
        yield from self._former("fold(a.old) = ?", [self.folded], ALIKE)

    def parts(self) -> list[LabelMatch]:
        """Labels that hold what was typed, those that begin with it first."""
        if len(self.folded) < _SHORTEST and len(_compact(self.typed)) < _SHORTEST:
            return []
        sure = certain(self.typed)
        # The inner question reads an index of folded labels alone; what fits is decided here, label by label.
        inner, held = _holding(sure)
        some = f"r.folded IN ({inner} LIMIT {_CANDIDATES})"
        former = self._former("instr(fold(a.old), ?)", [sure], PART)
        near = [*self._present(some, held, PART, _CANDIDATES), *former]
        fitting = ((m, fits(self.typed, m.former or m.label)) for m in near)
        found = [replace(m, how=how) for m, how in fitting if how is not None]
        return sorted(found, key=lambda m: (m.how != BEGINS, bool(m.former), m.label))[:MOST]

    def words(self) -> Iterator[LabelMatch]:
        """Present labels with all words of what was typed."""
        if re.search(r"\w", self.typed):
            condition = "r.row IN (SELECT rowid FROM words WHERE words MATCH ?)"
            yield from self._present(condition, [match_words(self.typed, "label")], WORDS)

    def _present(self, condition: str, values: list[Any], how: str, most: int = MOST) -> Iterator[LabelMatch]:
        rows = self.db.execute(
            f"SELECT DISTINCT r.link_label FROM records r WHERE {condition}{self.narrow} "
            f"AND r.link_label IS NOT NULL ORDER BY r.link_label LIMIT {most}",
            [*values, *self.given],
        )
        yield from (LabelMatch(label, how) for (label,) in rows.fetchall())

    def _former(self, condition: str, values: list[Any], how: str) -> Iterator[LabelMatch]:
        rows = self.db.execute(
            "SELECT DISTINCT r.link_label, a.old, r.link_key FROM amendments a CROSS JOIN records r ON r.row = a.row "
            f"WHERE a.field = 'link_label' AND {condition}{self.narrow} AND r.link_label IS NOT NULL "
            f"AND r.link_label != a.old ORDER BY r.link_label, a.old LIMIT {_CANDIDATES}",
            [*values, *self.given],
        )
        yield from (LabelMatch(label, how, old, key) for label, old, key in rows.fetchall())


def match_words(text: str, column: str = "") -> str:
    """Words a person typed as a query for the full text: every word, as the beginning of a word; no query syntax."""
    found = re.findall(r"\w+", text)
    query = " ".join(f'"{w}"*' for w in found) or '""'
    return f"{{{column}}} : ({query})" if column else query


def _holding(sure: str) -> tuple[str, list[Any]]:
    """The question for folded labels that hold this, with its values."""
    if len(sure) < GRAM:
        return "SELECT DISTINCT folded FROM link_labels WHERE NOT former AND instr(folded, ?)", [sure]
    ids = "id IN (SELECT rowid FROM label_grams WHERE label_grams MATCH ?)"
    return f"SELECT DISTINCT folded FROM link_labels WHERE {ids} AND NOT former AND instr(folded, ?)", [
        grams(sure),
        sure,
    ]


def _once(found: Iterable[LabelMatch]) -> Iterator[LabelMatch]:
    """Matches without those of links that a surer one means already."""
    seen = set[tuple[str, str]]()
    for m in found:
        if (m.label, "") not in seen and (m.label, m.link_key) not in seen:
            seen.add((m.label, m.link_key))
            yield m


def fits(typed: str, label: str) -> str | None:
    """BEGINS or PART where a label holds what was typed; None where it does not, or is alike as a whole.

    Both are cut into runs of digits and of letters. The runs that were typed must follow each other in the label; the
    first may be the end of a run of the label, the last the beginning of one, as on a torn sticker. Without any
    separator typed, those of the label may lie anywhere.
    """
    whole, wanted = fold(label) or "", fold(typed) or ""
    if whole == wanted:
        return None
    runs, asked = _runs(label), _runs(typed)
    at = next((i for i in range(len(runs) - len(asked) + 1) if asked and _torn(asked, runs[i:])), None)
    if at is not None:
        return BEGINS if at == 0 and runs[0].startswith(asked[0]) else PART
    if wanted in whole and not re.search(r"[\W_]", typed.strip()):
        return BEGINS if whole.startswith(wanted) else PART
    return None


def _torn(asked: list[str], runs: list[str]) -> bool:
    if len(asked) == 1:
        return asked[0] in runs[0] or fold(asked[0]) == fold(runs[0])
    pairs = [(fold(a), fold(r)) for a, r in zip(asked, runs, strict=False)]
    return (
        (runs[0].endswith(asked[0]) or pairs[0][0] == pairs[0][1])
        and all(a == r for a, r in pairs[1:-1])
        and (runs[len(asked) - 1].startswith(asked[-1]) or pairs[-1][0] == pairs[-1][1])
    )


def _runs(label: str) -> list[str]:
    return _RUN.findall(unicodedata.normalize("NFKC", label).casefold().replace("o", "0"))


def _compact(label: str) -> str:
    return "".join(_runs(label))


def certain(typed: str) -> str:
    """What the folded form of every label that fits holds: zeros at the beginning of a last run may be all of it."""
    *before, last = _runs(typed) or [""]
    return "".join(fold(run) or "" for run in before) + last.lstrip("0")
