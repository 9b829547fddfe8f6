"""What a declaration may hold; anything else is told with its place."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

from archive.errors import Trouble

LETTERS = ("A", "B", "C")


def table(part: Any, where: str) -> Mapping[str, Any]:
    """A table. Errors: Trouble where it is something else."""
    if not isinstance(part, Mapping):
        raise Trouble("a table was expected here", where=where, found=f"'{part}'")
    return part


def known(part: Any, keys: frozenset[str], where: str) -> Mapping[str, Any]:
    """A table all of whose keys somebody reads. Errors: Trouble."""
    found = table(part, where)
    for key in found:
        if key not in keys:
            raise Trouble("unknown key", where=where, found=f"'{key}'", expected=", ".join(sorted(keys)))
    return found


def number(value: Any, what: str, where: str) -> float:
    """A finite number. Errors: Trouble."""
    if isinstance(value, bool) or not isinstance(value, int | float) or not math.isfinite(value):
        found = "nothing" if value is None else f"'{value}'"
        raise Trouble(f"{what} is missing or is not a number", where=where, found=found, expected="a number")
    return float(value)


def letter(value: Any, where: str) -> str:
    """A confidence letter. Errors: Trouble."""
    if value not in LETTERS:
        found = "nothing" if value is None else f"'{value}'"
        raise Trouble("a confidence letter is missing", where=where, found=found, expected="A, B or C")
    return str(value)


def one_of(value: Any, words: tuple[str, ...], what: str, where: str) -> str:
    """One of some words. Errors: Trouble."""
    if value not in words:
        raise Trouble(f"no such {what}", where=where, found=f"'{value}'", expected=", ".join(words))
    return str(value)


def sources(part: Mapping[str, Any], where: str) -> tuple[str, ...]:
    """The source ids of a part. Errors: Trouble where they are no list of texts."""
    found = part.get("source", [])
    if not isinstance(found, list) or not all(isinstance(s, str) for s in found):
        raise Trouble("sources that cannot be read", where=where, found=f"'{found}'", expected='["S22", ...]')
    return tuple(found)
