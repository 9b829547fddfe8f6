"""Numbers with their nouns, one or many."""

from __future__ import annotations


def agreed(number: int, one: str, many: str) -> str:
    """The form of a verb, or of another word, that goes with a number: "is" or "are"."""
    return one if number == 1 else many


def counted(number: int, noun: str) -> str:
    """ "1 link", "2,000 links", "3 entries"; noun: a regular one."""
    many = f"{noun[:-1]}ies" if noun.endswith("y") and noun[-2] not in "aeiou" else f"{noun}s"
    return f"{number:,} {noun if number == 1 else many}"
