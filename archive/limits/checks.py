"""What a declaration may hold; anything else is told with its place."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

from archive.errors import Trouble

LETTERS = ("A", "B", "C")


def mapping(part: Any, where: str) -> Mapping[str, Any]:
    """A table. Errors: Trouble where it is something else."""
    if not isinstance(part, Mapping):
        raise Trouble("a table was expected here", where=where, found=f"'{part}'")
    return part


def known(part: Any, keys: frozenset[str], where: str) -> Mapping[str, Any]:
    """A table all of whose keys somebody reads. Errors: Trouble."""
    found = mapping(part, where)
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


def span(value: Any, where: str) -> tuple[float, float] | None:
    """[from, to] in MHz, rising, from above 0; None where nothing is said. Errors: Trouble."""
    if value is None:
        return None
    if not isinstance(value, list | tuple) or len(value) != 2:
        raise Trouble("a range that cannot be read", where=where, found=f"'{value}'", expected="[from, to] in MHz")
    low, high = number(value[0], "from", where), number(value[1], "to", where)
    if low <= 0 or high < low:
        raise Trouble("a range that runs backwards", where=where, found=f"{low:g} to {high:g} MHz")
    return low, high


def words(value: Any, what: str, where: str) -> list[str]:
    """A list of texts. Errors: Trouble."""
    if not isinstance(value, list | tuple) or not all(isinstance(word, str) for word in value):
        raise Trouble(f"{what} is not a list of words", where=where, found=f"'{value}'", expected='["...", ...]')
    return list(value)


def numbers(value: Any, what: str, where: str) -> list[float]:
    """A list of numbers. Errors: Trouble."""
    if not isinstance(value, list | tuple):
        raise Trouble(f"{what} is not a list of numbers", where=where, found=f"'{value}'", expected="[1, 4, ...]")
    return [number(item, what, where) for item in value]


def shaped(table: Mapping[str, Any], where: str) -> None:
    """Refuses a limit whose parts are not of the kind they should be. Errors: Trouble."""
    span(table.get("range_mhz"), f"{where}, range_mhz")
    connections = table.get("connections")
    if connections is not None and (isinstance(connections, bool) or not isinstance(connections, int)):
        raise Trouble("connections is not a whole number", where=where, found=f"'{connections}'")
    for key in ("pairs", "without", "confirmations"):
        words(table.get(key, []), key, where)
    for key in ("document", "clause", "note", "configuration", "like", "same_as", "came_from"):
        if not isinstance(table.get(key, ""), str):
            raise Trouble(f"{key} is not a text", where=where, found=f"'{table[key]}'")
    for key in ("open", "also_named", "lines", "scalars", "terms"):
        found = mapping(table.get(key, {}), f"{where}, {key}")
        if key in ("open", "also_named") and not all(isinstance(text, str) for text in found.values()):
            raise Trouble(f"{key} does not name a text for each", where=where)
    if "confidence_at_most" in table:
        letter(table["confidence_at_most"], where)
