"""Words, parameters, pairs and combinations."""

from __future__ import annotations

import re
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

_AT_WAVELENGTH = re.compile(r"(.+)_(\d+(?:\.\d+)?)nm")


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
    """One parameter; of a loss at one wavelength, such as optical_loss_850nm, that loss. Errors: KeyError where the
    vocabulary has no such word."""
    return parameters()[wavelength_of(name)[0]]


def wavelength_of(name: str) -> tuple[str, str]:
    """A parameter that is counted at one wavelength, such as optical_loss_850nm: its own name, and the nanometres as
    text; "" where it is of none."""
    found = _AT_WAVELENGTH.fullmatch(name)
    return (found[1], found[2]) if found else (name, "")


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
