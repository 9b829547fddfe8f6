"""Texts for a spreadsheet, which takes some of them for formulas and runs them."""

from __future__ import annotations

from typing import Any

_STARTS = ("=", "+", "-", "@", "\t", "\r")


def guarded(value: Any) -> Any:
    """A cell with an apostrophe before it where it is a text that a spreadsheet would take for a formula.

    Numbers stay. For tables that people open; the open CSV is exact and guards nothing.
    """
    return f"'{value}" if isinstance(value, str) and value.startswith(_STARTS) else value
