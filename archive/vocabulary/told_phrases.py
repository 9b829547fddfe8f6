"""Phrases that are stored with records in English, known again: reasons of verdicts, and what rules fill in.

They stand in schemas/told.toml, with blanks. A blank takes the rest of a phrase; those named here take less.
"""

from __future__ import annotations

import re
from functools import cache

from archive import schemas, vocabulary

_NUMBER = r"[-−<>]?\d[\d.,]*"
_QUANTITY = rf"{_NUMBER}(?: ?(?:dB|dBm|[kMG]?Hz|nm|km|m|ns|ohm|%|UTC|s|points))?"
_PAIR = r"\d-\d(?:/\d-\d)?"
_QUANTITIES = (
    *("value", "other", "low", "high", "there", "back", "ours", "theirs", "added", "each", "bound", "length", "step"),
    "margin",
)
_COUNTS = ("count", "points", "needed", "ends", "number")


def texts() -> list[str]:
    """Every phrase, in the order in which they are tried."""
    found: list[str] = schemas.load("told.toml")["texts"]
    return found


def recognised(text: str) -> tuple[str, dict[str, str]] | None:
    """The phrase with blanks that a text was made from, and what fills them; None where it is none of these."""
    for template, pattern in _patterns().items():
        if found := pattern.fullmatch(text):
            return template, found.groupdict()
    return None


def is_quantity(text: str) -> bool:
    """Whether a text is a number with its unit, and nothing else."""
    return re.fullmatch(_QUANTITY, text) is not None


@cache
def _patterns() -> dict[str, re.Pattern[str]]:
    names = sorted((re.escape(p.name) for p in vocabulary.parameters().values()), key=len, reverse=True)
    one = f"(?:{'|'.join(names)})"
    blanks = {**dict.fromkeys(_QUANTITIES, _QUANTITY), **dict.fromkeys(_COUNTS, _NUMBER)}
    blanks |= {"parameter": one, "parameters": f"{one}(?:, {one})*", "pair": _PAIR, "end": "local|remote"}
    blanks |= {"contact": r"\d|S", "verdict": "pass|fail|not graded", "wanted": r"[^,;]+?"}
    blanks |= {"field": r"\w+", "day": r"\d{4}-\d{2}-\d{2}"}

    def blank(found: re.Match[str]) -> str:
        return f"(?P<{found[1]}>{blanks.get(found[1], '[^;]+?')})"

    return {t: re.compile(re.sub(r"\\{(\w+)\\}", blank, re.escape(t))) for t in texts()}
