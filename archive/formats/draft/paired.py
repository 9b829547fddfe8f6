"""Which names of pairs a layout uses: contacts, numbers or colours under T568A or T568B."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass

from archive.formats.base import words
from archive.formats.draft.heading import PAIR_WORDS, Heading
from archive.formats.mapping import pairs
from archive.vocabulary import PAIRS, phrases

_CONTACT = frozenset(("12", "36", "45", "78"))


@dataclass(frozen=True)
class Scheme:
    """name: a key of pairs.SCHEMES; how sure, and why."""

    name: str
    confidence: float
    reason: str


def decide(headings: Iterable[Heading], values: Iterable[str], text: str) -> Scheme:
    """The scheme that explains the pairs in headings and in cells. text: words of the file, for T568A or T568B."""
    written = [h.pairs for h in headings if h.pairs] + [plain(v) for v in values]
    written = [w for w in written if w]
    if not written:
        return Scheme("contacts", 1.0, "no pairs are named")
    colours = sum(any(c.isalpha() and len(c) > 1 for c in w.split()) for w in written)
    contact = sum(_is_contact(w) for w in written)
    number = sum(_is_number(w) for w in written)
    letters = sum(bool(re.fullmatch(r"[a-d](?: [a-d])?", w)) for w in written)
    if colours > 0.5 * len(written):
        return _wired(text, "colours")
    only_contact = sum(_is_contact(w) and not _is_number(w) for w in written)
    only_number = sum(_is_number(w) and not _is_contact(w) for w in written)
    if letters > 0.5 * len(written):
        return Scheme("letters", 0.8, "pairs are named by letters, taken as IEEE 802.3 clause 40 names them")
    if contact >= number and (only_contact or not only_number):
        sure = 0.99 if only_contact else 0.6
        return Scheme("contacts", sure, "pairs are named by their contacts")
    return _wired(text, "numbers")


def _wired(text: str, what: str) -> Scheme:
    folded = phrases.fold(text)
    a, b = (bool(re.search(rf"\bt ?568 ?-?{x}\b|\b568{x}\b(?!\.)", folded)) for x in "ab")
    if a != b:
        return Scheme(
            "t568a" if a else "t568b", 0.96, f"pairs are named by {what}, and the file says T568{'A' if a else 'B'}"
        )
    return Scheme("t568b", 0.75, f"pairs are named by {what}; T568B is assumed, for nothing says which: please check")


def plain(value: str) -> str:
    """A cell that names a pair, as Heading.pairs writes it."""
    if len(value) > 200:
        return ""
    folded = phrases.fold(value)
    found = [m for t in phrases.tokens(value) for m in words.phrases().get(t, ()) if m.kind == "colour"]
    if found:
        return " ".join(dict.fromkeys(m.id for m in found))
    words_ = [t for t in phrases.tokens(value) if not t.isdigit()]
    if any(t.isalpha() and len(t) > 1 and t not in PAIR_WORDS for t in words_):
        return ""  # "3,8 dB" is no pair.
    digits = re.sub(r"[^\d]", "", folded)
    if digits and len(digits) <= 4 and set(digits) <= set("12345678"):
        if len(digits) == 4:
            return f"{digits[:2]} {digits[2:]}"
        return digits if len(digits) != 2 or digits in _CONTACT else f"{digits[0]} {digits[1]}"
    letter = re.fullmatch(r"(?:pair )?([a-d])(?:\W*([a-d]))?", folded.strip())
    return " ".join(x for x in letter.groups() if x) if letter else ""


def _is_contact(written: str) -> bool:
    parts = written.split()
    if len(parts) == 2 and all(len(p) == 1 for p in parts):
        return "".join(parts) in _CONTACT
    return all(p in _CONTACT for p in parts)


def _is_number(written: str) -> bool:
    parts = written.split()
    if len(parts) == 1 and len(parts[0]) == 2:
        parts = list(parts[0])
    return all(p in "1234" for p in parts) and len(set(parts)) == len(parts) <= 2


def resolve(written: str, scheme: str, ordered: bool) -> str:
    """A pair or combination as the tables name it, or "" where the scheme does not know it."""
    parts = written.split()
    if scheme == "contacts":
        joined = "".join(parts)
        listed = (
            [joined[i : i + 2] for i in range(0, len(joined), 2)] if joined.isdigit() and len(joined) in (2, 4) else []
        )
        found = [f"{p[0]}-{p[1]}" for p in listed]
    else:
        if len(parts) == 1 and len(parts[0]) == 2 and parts[0].isdigit():
            parts = list(parts[0])
        found = [x for p in parts for x in pairs.pairs_in(p, scheme)]
    if not found or any(p not in PAIRS for p in found) or len(found) > 2:
        return ""
    if len(found) == 1:
        return found[0]
    return pairs.combine(found[0], found[1], ordered) if found[0] != found[1] else ""
