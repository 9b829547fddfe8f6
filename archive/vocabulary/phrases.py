"""How words are compared, and phrases found among other words: whole ones, the longest first."""

from __future__ import annotations

import re
import unicodedata
from bisect import bisect_right
from collections.abc import Iterable, Iterator
from typing import Generic, NamedTuple, TypeVar

_LETTERS = str.maketrans(
    {"ß": "ss", "ł": "l", "ø": "o", "æ": "ae", "œ": "oe", "đ": "d", "ı": "i", "ᴀ": "a", "ᴇ": "e", "ꜰ": "f"}
)
_ACCENTS = re.compile("[\u0300-\u036f]+")
_CAMEL = re.compile(r"(?<=[a-z])(?=[A-Z])|(?<=[A-Z])(?=[A-Z][a-z]{2})")
_DIGITS = re.compile(r"(?<=[^\W\d_])(?=\d)|(?<=\d)(?=[^\W\d_])")
_BREAKS = re.compile(r"[^\w%°#&'′Ωωµμλ]+|_")
_START = re.compile(r"(?<![a-z0-9.])(?=[^\s.])|(?<=[a-z0-9])(?=[^\x00-\x7f])")
_END = re.compile(r"(?<=\S)(?![a-z0-9]|\.[a-z0-9])|(?<=[^\x00-\x7f])(?=[a-z0-9])")
"""Where a phrase may begin and end: letters of another script beside it do not make it another phrase."""

Meaning = TypeVar("Meaning")


def fold(text: str) -> str:
    """Letters for comparing: compatibility forms, small, without Latin accents. Umlauts lose their dots."""
    text = unicodedata.normalize("NFKC", text).casefold()
    if text.isascii():
        return text
    plain = _ACCENTS.sub("", unicodedata.normalize("NFD", text.translate(_LETTERS)))
    return unicodedata.normalize("NFC", plain)


def tokens(text: str) -> tuple[str, ...]:
    """Folded words of a heading or a cell: cut at punctuation, at camelCase and between letters and digits."""
    text = _DIGITS.sub(" ", _CAMEL.sub(" ", unicodedata.normalize("NFKC", text)))
    return tuple(t for t in _BREAKS.sub(" ", fold(text)).split() if t.strip("'′"))


def phrase(text: str) -> str:
    """Folded words joined by one blank: equal for equal phrases however they are written."""
    return " ".join(_BREAKS.sub(" ", fold(text)).replace("'", " ").split())


class _Entry(NamedTuple):
    """A phrase: must and may hold the places in its letters at which there must and may be a blank."""

    text: str
    must: frozenset[int]
    may: frozenset[int]


class PhraseBook(Generic[Meaning]):
    """Phrases with a meaning each, to be found in folded words.

    phrases: folded words with one blank between; the blank may be missing in the text. An underscore is a blank that
    must be there. Of equal phrases the last counts.
    """

    def __init__(self, phrases: Iterable[tuple[str, Meaning]]) -> None:
        self.meanings = dict(phrases)
        self._by_letters: dict[str, list[_Entry]] = {}
        for text in sorted(self.meanings):
            words = text.replace("_", " ").split()
            must, may, at = set(), set(), 0
            for word in words[:-1]:
                at += len(word)
                may.add(at)
                if text[at + len(may) - 1] == "_":
                    must.add(at)
            self._by_letters.setdefault("".join(words), []).append(_Entry(text, frozenset(must), frozenset(may)))
        self._longest = max(map(len, self._by_letters), default=0)

    def take(self, text: str) -> tuple[list[tuple[Meaning, str]], str]:
        """All phrases in folded words: the meaning and the words of each, longer phrases first; and what is left.

        A phrase counts only as a whole: letters a to z and digits beside it, or a point between, make it another.
        What is taken is gone: no phrase is found across it.
        """
        taken: list[tuple[Meaning, str]] = []
        left = text
        for _, phrase, start, end in sorted(self._matches(text)):
            if "\n" not in left[start:end]:
                taken.append((self.meanings[phrase], text[start:end]))
                left = left[:start] + "\n" * (end - start) + left[end:]
        return taken, " ".join(left.split())

    def _matches(self, text: str) -> Iterator[tuple[int, str, int, int]]:
        """Order, phrase, start and end of everything in a text that may be a phrase."""
        ends = [m.start() for m in _END.finditer(text)]
        for start in (m.start() for m in _START.finditer(text)):
            for end in ends[bisect_right(ends, start) :]:
                words = text[start:end].split(" ")
                letters = "".join(words)
                if len(letters) > self._longest:
                    break
                for entry in self._by_letters.get(letters, ()):
                    blanks = {sum(map(len, words[:k])) for k in range(1, len(words))}
                    if entry.must <= blanks <= entry.may:
                        yield -len(entry.text.replace(" ", "")), entry.text, start, end
