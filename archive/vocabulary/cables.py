"""Brand-neutral cable types: an id such as cat6a/f-utp/awg23/solid, taken apart and put together.

The class stands first; the other parts follow in the order of PARTS, and one that is not known is left out. In place
of a part may stand a word of the vocabulary `cable_open`: the part is open (screened, class-open) or contradicted.
Where other parts are known and the class is not, `unknown` stands for it.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from functools import lru_cache
from types import MappingProxyType

from archive.vocabulary import phrases
from archive.vocabulary.terms import words

PARTS = ("class", "construction", "gauge", "conductor", "sheath")
"""Parts of a type in their order, joined by "/"."""

UNKNOWN = "unknown"
OPEN, CONTRADICTED = "open", "contradicted"
SCREENED = "screened"
"""Construction: there are screens, which ones is open."""


_MARKS = re.compile(r"(?<=\d)[./](?=\d)|[^\W_]+", re.UNICODE)
_TIMES = re.compile(r"(?<=\d)\s?[x×]\s?(?=\d|awg)")
_SUBSCRIPT = re.compile(
    r"(?<=[5-8])_(?=[aeAE]\b)|(?<=\b[5-8]) (?=[AE]\b(?! ?\d))|(?<=\b[5-8]) (?=[ae] ?(?:$|[usf]{1,2} ?/ ?[uf]tp))"
)
"""Between the number and the letter of 5e, 6A or 7A; a single a or e before other words is a word of its own."""


def joined(parts: Mapping[str, str]) -> str:
    """The id of some parts; a part that is empty or not there is not known. Nothing known at all is "unknown"."""
    rest = [parts[p] for p in PARTS[1:] if parts.get(p)]
    return "/".join([parts.get("class") or UNKNOWN, *rest])


@lru_cache(maxsize=16384)
def said(cable_type: str | None) -> Mapping[str, str]:
    """What an id says of each part, words of `cable_open` included. An id that is not valid says nothing."""
    found: dict[str, str] = {}
    at = 0
    for number, word in enumerate((cable_type or "").split("/")):
        places = [k for k in range(at, len(PARTS)) if word in _allowed(PARTS[k])]
        if not places or (number == 0 and places[0] != 0):
            return MappingProxyType({})
        found[PARTS[places[0]]] = word
        at = places[0] + 1
    if found.get("class") == UNKNOWN:
        del found["class"]
    return MappingProxyType(found)


@lru_cache(maxsize=16384)
def known(cable_type: str | None) -> Mapping[str, str]:
    """The parts that an id decides: by name, none that is open, contradicted or unknown."""
    undecided = words("cable_open")
    return MappingProxyType({part: word for part, word in said(cable_type).items() if word not in undecided})


def state(cable_type: str | None, part: str) -> str:
    """Of one part: "known", "open", "contradicted" or "unknown"."""
    word = said(cable_type).get(part)
    if word is None:
        return UNKNOWN
    if word not in words("cable_open"):
        return "known"
    return CONTRADICTED if word.endswith(CONTRADICTED) else OPEN


def valid(cable_type: str) -> bool:
    """Whether a text is the id of a cable type."""
    return cable_type == UNKNOWN or bool(said(cable_type))


def screened(cable_type: str | None) -> str | None:
    """screened or unscreened, as the construction says; None where it says neither."""
    word = said(cable_type).get("construction")
    if word is None or word.endswith(CONTRADICTED):
        return None
    return "unscreened" if word == "u-utp" else SCREENED


def folded(found: str) -> str:
    """Words about a cable for comparing: folded, one blank between, points and strokes only between digits."""
    text = _SUBSCRIPT.sub("", found)
    text = _TIMES.sub(" x ", phrases.fold(text))
    text = "".join(m[0] if m[0] in "./" else f" {m[0]} " for m in _MARKS.finditer(text))
    return re.sub(r" *([./]) *", r"\1", " ".join(text.split()))


def _allowed(part: str) -> frozenset[str]:
    open_words = {"class": {"class-open"}, "construction": {SCREENED}}.get(part, set())
    return words(f"cable_{part}") | open_words | {f"{part}-{CONTRADICTED}"}
