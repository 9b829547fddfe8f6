"""What one cell is: a number, a date, a verdict, words of a heading, a pair, or other text."""

from __future__ import annotations

import re
from functools import lru_cache
from typing import Any

from archive.formats.base import dates, words
from archive.formats.cable_types import recognised
from archive.formats.draft import heading
from archive.formats.mapping import verdicts
from archive.vocabulary import phrases

_NUMBER = re.compile(
    r"^[<>≤≥]?=?\s*[+\-−]?(?:\d{1,3}(?: \d{3})+(?:[.,]\d+)?|\d[\d.,\u00a0\u202f']*|[.,]\d+)(?:[eE][+-]?\d+)?\s*"
    r"(?:dB|dBm|m|ft|ns|µs|MHz|kHz|Hz|GHz|Ohm|ohm|ohms|Ω|%|nm|°C|pF|nF|km)?\*?$"
)
_PAIR = re.compile(
    r"^(?:(?:[Pp](?:air|r)?\.?\s*)?(?:1[-/, ]?2|3[-/, ]?6|4[-/, ]?5|7[-/, ]?8|[1-4])\s*(?:[-/_:>→+,&]|\s)\s*)?"
    r"(?:[Pp](?:air|r)?\.?\s*)?(?:1[-/, ]?2|3[-/, ]?6|4[-/, ]?5|7[-/, ]?8)$"
)


_MOST_LETTERS = 400
"""A longer cell is a curve or a comment, and no word of the trade."""


@lru_cache(maxsize=200_000)
def kind(cell: str) -> str:
    """n number, d date, v verdict, w words of a heading, p pair, t other text, "" nothing."""
    text = cell.strip()
    if not text or text.casefold() in words.empties():
        return ""
    if _PAIR.match(text):
        return "p"
    if _NUMBER.match(text):
        return "n"
    if len(text) > _MOST_LETTERS:
        return "t"
    if re.search(r"\d", text) and len(text) < 40 and dates.patterns_for([text]):
        return "d"
    if len(text) < 24 and verdicts.general(text) != (None, False):
        return "v"
    if _names_cable(text):
        return "t"
    return "w" if is_heading(text) else "t"


def _names_cable(text: str) -> bool:
    """A kind of cable or a standard, such as "Cat 6A F/UTP 23 AWG": a value, though its words are of the trade."""
    if not re.search(r"\d", text) or not recognised(text):
        return False
    said = heading.read(text)
    return not (said.parameters or said.generics or said.modifiers or said.wavelength or said.unit)


@lru_cache(maxsize=200_000)
def is_heading(text: str) -> bool:
    """Whether a text is made of words that headings use: half of them or more."""
    if len(text) > 90 or not re.search(r"[^\W\d_]", text):
        return False
    if ":" in text.rstrip(": ") and not text.rstrip().endswith(":"):
        return False
    found = heading.read(text.rstrip(" :="))
    said = found.parameters or found.generics or found.fields or found.modifiers or found.ends or found.directions
    if not (said or found.unit or found.wavelength or found.pair_word) or (found.guessed and found.unknown):
        return False
    place = bool(found.fields) and set(found.fields) <= _PLACES and not found.parameters
    if place and (found.letters or found.pairs or found.unknown):
        # "Panel A", "TR-2": the name of a place, not the heading of a column of places.
        return False
    if any(c.isdigit() for u in found.unknown for c in u):
        return False
    known = len(phrases.tokens(text)) - len(found.unknown) - len(found.letters)
    return known > len(found.unknown)


_PLACES = frozenset(("site", "building", "floor", "space", "panel", "port"))


def kinds(row: list[Any]) -> list[str]:
    """Kinds of the cells of a row."""
    return [of(c) for c in row]


def of(cell: Any) -> str:
    """Kind of any cell."""
    if cell is None or cell == "":
        return ""
    if isinstance(cell, bool):
        return "v"
    if isinstance(cell, int | float):
        return "p" if cell in (12, 36, 45, 78) else "n"
    if isinstance(cell, str):
        return kind(cell)
    return "d"
