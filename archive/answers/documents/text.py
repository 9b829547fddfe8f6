"""Texts as documents show them: nothing in them is invisible, nothing turns the direction of what stands beside it."""

from __future__ import annotations

import unicodedata
from functools import cache
from pathlib import Path

_HIDDEN = frozenset({"Cc", "Cf", "Cs", "Co", "Cn", "Zl", "Zp"})
_KEPT = frozenset("\n")
_FIRST_RARE = 0x250
_COMMON = frozenset("⟨⟩−–—…Ω→←")
"""Letters that our own texts use and the fonts are known to have."""


def visible(text: str) -> str:
    """The text with every control, format, private or unassigned character written out as ⟨U+202E⟩; line feeds stay.

    Two labels that differ only in such a character are two labels, and a reader must see it.
    """
    if text.isascii() and text.isprintable():
        return text
    # Long texts are pictures of a few different letters: looking at each kind once is enough.
    written = {ord(c): _shown(c) for c in set(text)}
    return text.translate({k: v for k, v in written.items() if v != chr(k)})


def printable(text: str) -> str:
    """The same, with every character written out too that the fonts of the PDF do not have."""
    seen = visible(text)
    kinds = {c for c in set(seen) if ord(c) >= _FIRST_RARE}
    lacking = {ord(c): _code(c) for c in kinds if ord(c) not in _glyphs()} if kinds - _COMMON else {}
    return seen.translate(lacking) if lacking else seen


def _shown(c: str) -> str:
    if c == "\t":
        return " "
    return _code(c) if unicodedata.category(c) in _HIDDEN and c not in _KEPT else c


def _code(c: str) -> str:
    return f"⟨U+{ord(c):04X}⟩"


@cache
def _glyphs() -> frozenset[int]:
    """Code points of DejaVu Sans, the font that stands in where the text face lacks a letter."""
    from fontTools.ttLib import TTFont

    with TTFont(fonts() / "DejaVuSans.ttf", lazy=True) as font:
        return frozenset(font.getBestCmap())


@cache
def fonts() -> Path:
    """Folder of the DejaVu fonts, which travel with matplotlib; the machine's own fonts are never used."""
    import importlib.util

    found = importlib.util.find_spec("matplotlib")
    assert found is not None and found.origin is not None
    return Path(found.origin).parent / "mpl-data" / "fonts" / "ttf"
