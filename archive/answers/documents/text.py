"""Texts as documents show them: nothing in them is invisible, nothing turns the direction of what stands beside it."""

from __future__ import annotations

import unicodedata
from functools import cache
from pathlib import Path

_HIDDEN = frozenset({"Cc", "Cf", "Cs", "Co", "Cn", "Zl", "Zp"})
_KEPT = frozenset("\n")


def visible(text: str) -> str:
    """The text with every control, format, private or unassigned character written out as ⟨U+202E⟩; line feeds stay.

    Two labels that differ only in such a character are two labels, and a reader must see it.
    """
    if text.isascii() and text.isprintable():
        return text
    return "".join(_shown(c) for c in text)


def printable(text: str) -> str:
    """The same, with every character written out too that the fonts of the PDF do not have."""
    seen = visible(text)
    if all(ord(c) < 0x250 for c in seen):
        return seen
    known = _glyphs()
    return "".join(c if ord(c) in known or c in _KEPT else _code(c) for c in seen)


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
