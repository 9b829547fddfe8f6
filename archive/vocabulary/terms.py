"""Words, parameters, pairs and combinations."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

from archive import schemas

PAIRS: tuple[str, ...] = ("1-2", "3-6", "4-5", "7-8")
"""Pairs by contacts, IEC 60603-7."""

COMBINATIONS: tuple[str, ...] = tuple(f"{a}/{b}" for i, a in enumerate(PAIRS) for b in PAIRS[i + 1 :])
"""The six unordered combinations, the lower pair first (NEXT is symmetric)."""

ORDERED: tuple[str, ...] = tuple(f"{a}/{b}" for a in PAIRS for b in PAIRS if a != b)
"""The twelve ordered combinations: the first disturbs, the second is disturbed."""

ENDS: tuple[str, ...] = ("local", "remote")


@dataclass(frozen=True)
class Parameter:
    """One parameter: id, printed name, unit, sense ("max" or "min"), what a pairing names, taken at both ends."""

    id: str
    name: str
    unit: str
    sense: str
    per: str
    ends: bool


@cache
def parameters() -> dict[str, Parameter]:
    """All parameters by id, in the order of the vocabulary."""
    table = schemas.load("vocabulary.toml")["parameter"]
    return {key: Parameter(key, v["name"], v["unit"], v["sense"], v["per"], v["ends"]) for key, v in table.items()}


def parameter(name: str) -> Parameter:
    """One parameter. Errors: KeyError where the vocabulary has no such word."""
    return parameters()[name]


@cache
def words(vocabulary: str) -> frozenset[str]:
    """The words of one vocabulary. Errors: KeyError where there is no such vocabulary."""
    return frozenset(schemas.load("vocabulary.toml")[vocabulary])


def meaning(vocabulary: str, word: str) -> str:
    """What a word means. Errors: KeyError."""
    found = schemas.load("vocabulary.toml")[vocabulary][word]
    return found if isinstance(found, str) else str(found["name"])


def pairings(per: str) -> tuple[str, ...]:
    """Names that a pairing can have for parameters taken per pair, combination or ordered combination."""
    return {"pair": PAIRS, "combination": COMBINATIONS, "ordered": ORDERED}.get(per, ())


def other_end(end: str) -> str:
    """The other end. Errors: KeyError for a word that is no end."""
    return {"local": "remote", "remote": "local"}[end]
