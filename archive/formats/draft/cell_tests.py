"""Whether the cells of a column can be what a hypothesis says: one small test for each kind of cells.

Each gives the name of a weight (strong, neutral, weak, against) and why, in words.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from archive.formats.base import words
from archive.formats.draft.columns import Seen
from archive.formats.draft.hypotheses import AGAINST, NEUTRAL, STRONG, WEAK
from archive.formats.draft.profile import Profile
from archive.formats.mapping import verdicts
from archive.formats.mapping.build.wires import contacts
from archive.vocabulary import phrases

Told = tuple[str, str]


@dataclass(frozen=True)
class Asked:
    """What is asked of a column. name: of the hypothesis. long: a record has several rows."""

    seen: Seen
    name: str
    long: bool

    @property
    def profile(self) -> Profile:
        """Profile of the cells."""
        return self.seen.profile

    @property
    def some(self) -> list[str]:
        """Some distinct cells."""
        return self.seen.profile.distinct[:200]


def _label(a: Asked) -> Told:
    p = a.profile
    if (p.dates and p.numeric <= 0.9) or p.verdicts > 0.5 or _length(a) > 60 or p.cables > 0.6 or p.limits > 0.6:
        return AGAINST, "the cells are no labels"
    if p.constant and p.filled > 3 and not a.long:
        return WEAK, "it never changes"
    return STRONG, f"{len(p.distinct)} different labels"


def _verdict(a: Asked) -> Told:
    if yes_no(a.profile.distinct):
        return STRONG, "yes and no in the cells"
    return (STRONG, "verdicts in the cells") if a.profile.verdicts > 0.9 else (AGAINST, "no verdicts in the cells")


def _yes(a: Asked) -> Told:
    known = words.plain("yes") | words.plain("no")
    fits = a.profile.verdicts or all((phrases.phrase(c) or c.casefold()) in known for c in a.some)
    return (STRONG, "yes or no") if fits else (WEAK, "")


def _limit(a: Asked) -> Told:
    if a.profile.numeric > 0.9:
        return AGAINST, "numbers"
    return (STRONG, "names of standards in the cells") if a.profile.limits > 0.5 else (NEUTRAL, "")


def _cable(a: Asked) -> Told:
    p = a.profile
    if p.numeric > 0.9:
        return AGAINST, "numbers"
    if p.cables > 0.5:
        return STRONG, "kinds of cable in the cells"
    return (AGAINST, "every cell differs") if p.unique > 0.9 and p.filled > 5 else (NEUTRAL, "")


def _word(a: Asked) -> Told:
    known = sum(words.meaning(c, a.name) is not None for c in a.some) / len(a.some)
    return (STRONG, "known words in the cells") if known > 0.9 else (WEAK, "words that are not known")


def _values(a: Asked) -> list[float]:
    return [float(v) for v in a.profile.values[np.isfinite(a.profile.values)]]


def _small(a: Asked) -> Told:
    whole = a.profile.numeric > 0.9 and all(v.is_integer() and 0 <= v < 200 for v in _values(a))
    return (STRONG, "small whole numbers") if whole else (AGAINST, "no whole numbers")


def _group_index(a: Asked) -> Told:
    fits = a.profile.numeric > 0.9 and all(1.3 < v < 1.7 for v in _values(a))
    return (STRONG, "between 1.3 and 1.7") if fits else (AGAINST, "no group index")


def _contacts(a: Asked) -> Told:
    known = sum(bool(contacts(c)) for c in a.some) / len(a.some)
    return (STRONG, "contacts in the cells") if known > 0.9 else (AGAINST, "no contacts in the cells")


def _serial(a: Asked) -> Told:
    fits = all(re.search(r"\d", c) for c in a.some) and _length(a) < 30 and not a.profile.dates
    return (STRONG, "numbers of units") if fits else (WEAK, "")


def _version(a: Asked) -> Told:
    if all(re.fullmatch(r"\d{1,2}", c) for c in a.some):
        return AGAINST, "a whole number, as forms of files have"
    if all(re.search(r"\d\W\d", c) for c in a.some):
        return STRONG, "versions in the cells"
    return AGAINST, "no versions in the cells"


def _name(a: Asked) -> Told:
    """Names of makers, clients, sites: words, and few of them."""
    p = a.profile
    worded = sum(bool(re.search(r"[^\W\d_]{2}", c)) for c in a.some) > 0.8 * len(a.some)
    if p.numeric > 0.9 or not worded or (p.unique > 0.9 and p.filled > 5):
        return AGAINST, "the cells are no names"
    return _text(a)


def _port(a: Asked) -> Told:
    return (AGAINST, "one port for all links") if a.profile.constant and a.profile.filled > 3 else _text(a)


def _person(a: Asked) -> Told:
    p = a.profile
    named = p.numeric <= 0.9 and any(re.search(r"[^\W\d_]{2}", c) for c in a.some) and _length(a) < 40 and not p.dates
    if named and sum(len(re.findall(r"\d", c)) > 3 for c in a.some) > 0.8 * len(a.some):
        return AGAINST, "long numbers in the cells, as units have them"
    return (STRONG, "names in the cells") if named and p.verdicts < 0.5 else (AGAINST, "no names in the cells")


def _counts(a: Asked) -> Told:
    differ = a.profile.filled > 1 and (a.profile.unique > 0.9 or (a.long and a.profile.numeric > 0.9))
    if a.profile.texts == [str(n) for n in range(1, len(a.profile.texts) + 1)]:
        return WEAK, "it may number the rows and not the tests"
    return (STRONG, "numbers that differ") if differ else (AGAINST, "it says nothing")


def _zone(a: Asked) -> Told:
    fits = all(re.search(r"[+-]\d|utc|gmt|/", c, re.IGNORECASE) for c in a.some[:50])
    return (STRONG if fits else WEAK), "names a time zone"


def _text(a: Asked) -> Told:
    other = a.profile.dates or a.profile.verdicts > 0.8
    if a.name in ("building", "floor", "space", "panel", "port") and _measures(a):
        return AGAINST, "the cells are measured values or numbers of units"
    return (AGAINST, "the cells are something else") if other else (NEUTRAL, "")


def _measures(a: Asked) -> bool:
    """Whether cells are numbers with decimals, or letters with six figures or more."""
    decimals = a.profile.numeric > 0.9 and a.profile.decimals > 0
    return decimals or all(re.fullmatch(r"[A-Za-z]{0,3}\d{6,}", c) for c in a.some)


def _anything(a: Asked) -> Told:
    return (AGAINST, "the cells are verdicts") if a.profile.verdicts > 0.8 else (NEUTRAL, "")


def _length(a: Asked) -> float:
    return float(np.mean([len(c) for c in a.some]))


TESTS: dict[str, Callable[[Asked], Told]] = {
    "label": _label,
    "verdict": _verdict,
    "yes": _yes,
    "limit": _limit,
    "cable": _cable,
    "word": _word,
    "small": _small,
    "group_index": _group_index,
    "contacts": _contacts,
    "serial": _serial,
    "version": _version,
    "port": _port,
    "person": _person,
    "counts": _counts,
    "zone": _zone,
    "text": _text,
    "name": _name,
    "anything": _anything,
}


def yes_no(distinct: list[str]) -> dict[str, str]:
    """Cells such as Y and N as verdicts; {} where they are other words."""
    if not 1 <= len(distinct) <= 2 or any(verdicts.general(c)[0] for c in distinct):
        return {}
    folded = {c: phrases.phrase(c) or c.casefold() for c in distinct}
    if not all(f in words.plain("yes") | words.plain("no") for f in folded.values()):
        return {}
    return {c: "pass" if f in words.plain("yes") else "fail" for c, f in folded.items()}
