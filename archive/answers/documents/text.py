"""Texts as documents show them: nothing in them is invisible, nothing turns the direction of what stands beside it."""

from __future__ import annotations

import unicodedata
from functools import cache
from pathlib import Path
from struct import unpack_from

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
    """Code points of DejaVu Sans, the font that stands in where the text face lacks a letter.

    Its table cmap has a subtable of format 12: groups of first and last code point and first glyph (ISO/IEC 14496-22,
    5.2.1).
    """
    data = (fonts() / "DejaVuSans.ttf").read_bytes()
    tables = (unpack_from(">4sIII", data, 12 + 16 * i) for i in range(unpack_from(">H", data, 4)[0]))
    cmap = next(offset for tag, _, offset, _ in tables if tag == b"cmap")
    starts = [cmap + unpack_from(">I", data, cmap + 8 + 8 * i)[0] for i in range(unpack_from(">H", data, cmap + 2)[0])]
    start = next(s for s in starts if unpack_from(">H", data, s)[0] == 12)
    groups = (unpack_from(">II", data, start + 16 + 12 * i) for i in range(unpack_from(">I", data, start + 12)[0]))
    return frozenset(code for first, last in groups for code in range(first, last + 1))


def fonts() -> Path:
    """Folder of the DejaVu fonts that travel with the program; the machine's own fonts are never used."""
    return Path(__file__).parent / "fonts"
