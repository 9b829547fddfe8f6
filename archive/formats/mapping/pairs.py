"""Names of pairs and pair combinations, as exports write them, to contacts: 1-2, 3-6, 4-5, 7-8.

By contacts (12, 1-2, 1/2, 1,2), by number or colour under T568A or T568B, by order (pair 1 is 1-2, pair 2 is 3-6 ...)
or by letter (A is 1-2, B is 3-6, C is 4-5, D is 7-8, as IEEE 802.3 clause 40 names the four pairs).
Contacts of the pairs and colours: reference copper.md section 7 (source S27); pair 1 is blue, 2 orange, 3 green,
4 brown.
"""

from __future__ import annotations

import re
from functools import lru_cache

from archive.formats.base import words
from archive.vocabulary import PAIRS, phrases

_COLOURS = ("blue", "orange", "green", "brown")

SCHEMES: dict[str, tuple[str, str, str, str]] = {
    "contacts": ("1-2", "3-6", "4-5", "7-8"),
    "order": ("1-2", "3-6", "4-5", "7-8"),
    "t568a": ("4-5", "3-6", "1-2", "7-8"),
    "t568b": ("4-5", "1-2", "3-6", "7-8"),
    "letters": ("1-2", "3-6", "4-5", "7-8"),
}
"""Contacts of pair 1 to 4 (of letters: A to D) by the name of the scheme."""

_CONTACTS = re.compile(
    r"(?<!\d)(?:1\s*[-/,+&_. ]?\s*2|3\s*[-/,+&_. ]?\s*6|4\s*[-/,+&_. ]?\s*5|7\s*[-/,+&_. ]?\s*8)(?!\d)"
)
_RUN_TOGETHER = re.compile(r"(?<!\d)(12|36|45|78)(12|36|45|78)(?!\d)")
_NUMBERS = re.compile(r"(?<!\d)[1-4](?!\d)")
_LETTERS = re.compile(r"(?<![^\W\d_])[a-d](?![^\W\d_])")
_LETTER_TWICE = re.compile(r"^[a-d]{2}$")


@lru_cache(maxsize=65536)
def pairs_in(text: str, scheme: str) -> tuple[str, ...]:
    """The pairs that a text names, in their order, as contacts. scheme: a key of SCHEMES."""
    folded = phrases.fold(text)
    names = SCHEMES[scheme]
    if scheme == "contacts":
        folded = _RUN_TOGETHER.sub(r"\1-\2", folded)
        return tuple(f"{d[0]}-{d[1]}" for d in (re.sub(r"\D", "", m.group()) for m in _CONTACTS.finditer(folded)))
    if scheme == "letters":
        found = _LETTERS.findall(folded) or (list(folded) if _LETTER_TWICE.match(folded) else [])
        return tuple(names["abcd".index(x)] for x in found)
    colours = [_COLOURS.index(c) for c in _colours(text)]
    numbers = [int(n) - 1 for n in _NUMBERS.findall(folded)] or (
        [int(c) - 1 for c in folded] if re.fullmatch(r"[1-4]{2}", folded) else []
    )
    return tuple(names[i] for i in (colours or numbers))


@lru_cache(maxsize=65536)
def pairing(text: str, scheme: str, ordered: bool) -> str | None:
    """A pair or combination in the words of the tables, or None. Not ordered: the lower pair comes first."""
    found = pairs_in(text, scheme)
    if len(found) == 1:
        return found[0]
    if len(found) == 2 and found[0] != found[1]:
        return combine(found[0], found[1], ordered)
    return None


def combine(first: str, second: str, ordered: bool) -> str:
    """Two pairs as a combination."""
    if not ordered and PAIRS.index(second) < PAIRS.index(first):
        first, second = second, first
    return f"{first}/{second}"


def _colours(text: str) -> list[str]:
    out = []
    for token in phrases.tokens(text):
        ids = {m.id for m in words.phrases().get(token, ()) if m.kind == "colour"}
        if len(ids) == 1:
            out.append(ids.pop())
    return out
