"""Several values in one cell, by a pattern with named parts: `{value} @ {frequency} (margin {margin})`."""

from __future__ import annotations

import re
from collections.abc import Sequence
from functools import lru_cache

from archive.formats.base import patterns
from archive.formats.base.patterns import BoundedPattern

PASSED_OVER = "_"
"""Name of a part that no field takes."""

_PART = re.compile(r"\{(\w*)\}")


class CellPattern:
    """A pattern of cells: words with parts in braces, each part as short as what follows it allows; or a regular
    expression between slashes, with named groups.

    Blanks in the words stand for any number of blanks, none among them.
    """

    def __init__(self, text: str) -> None:
        self.text = text
        self._bounded = BoundedPattern(text.strip("/")) if text.startswith("/") else None
        pieces = _PART.split(text.strip())
        self.names = tuple(pieces[1::2]) if self._bounded is None else tuple(self._bounded.names)
        self._words = [_flexible(w) for w in pieces[0::2]]
        self._ends = re.compile(_flexible(pieces[-1]).pattern + r"\s*$")

    def parts(self, cell: str) -> dict[str, str] | None:
        """The parts of a cell by their names; None where it does not fit."""
        if self._bounded is not None:
            found = self._bounded.search(cell.strip())
            return None if found is None else {n: (found[n] or "").strip() for n in self.names}
        text = cell.strip()
        begin = self._words[0].match(text)
        if begin is None:
            return None
        at, out = begin.end(), {}
        for name, words in zip(self.names, [*self._words[1:-1], self._ends], strict=True):
            match = words.search(text, at)
            if match is None:
                return None
            out[name] = text[at : match.start()].strip()
            at = match.end()
        return out if at == len(text) and all(out.values()) else None


def _flexible(words: str) -> re.Pattern[str]:
    """Words of which each blank stands for any number of blanks; blanks alone part what stands beside them."""
    if words and not words.strip():
        return re.compile(r"\s+")
    return re.compile(r"\s*".join(re.escape(c) for c in re.split(r"\s+", words)))


@lru_cache(maxsize=256)
def pattern(text: str) -> CellPattern:
    """A pattern from its text."""
    return CellPattern(text)


def taken_apart(cell: str, texts: Sequence[str]) -> dict[str, str] | None:
    """The parts of a cell by the first of some patterns that it fits; None where it fits none."""
    return next((found for t in texts if (found := pattern(t).parts(cell)) is not None), None)


def fault(text: str) -> str:
    """What is wrong with a pattern, "" where nothing is."""
    if text.startswith("/"):
        why = patterns.fault(text.strip("/"))
        return why or ("" if BoundedPattern(text.strip("/")).names else "it names no part: (?P<value>...)")
    named = [n for n in _PART.findall(text) if n != PASSED_OVER]
    if not named:
        return "it names no part: {value}"
    if len(named) != len(set(named)) or "" in named:
        return "each part has a name of its own"
    return "two parts with nothing between them" if re.search(r"\}\s*\{", text) and "}{" in text else ""
