"""What a column can be and how evidence is weighed, from schemas/hypotheses.toml."""

from __future__ import annotations

from functools import cache

import msgspec
import numpy as np

from archive import schemas
from archive.structs import convert

STRONG, NEUTRAL, WEAK, AGAINST = "strong", "neutral", "weak", "against"
"""What cells say of a hypothesis, by the name of its weight."""


class Fact(msgspec.Struct, frozen=True):
    """A fact of a record: its place, the test of its cells, and what a score without a word would be."""

    to: str
    cells: str
    said: str = ""
    blind: float | None = None
    free: bool = False
    most: float = 1.0


class Range(msgspec.Struct, frozen=True):
    """Values that can be, and that are usual, in the tables' unit."""

    possible: tuple[float, float]
    usual: tuple[float, float]


class Confidence(msgspec.Struct, frozen=True):
    """Score to probability, as measured; from `sure` on a place is used unseen, below `likely` it is not used."""

    score: list[float]
    right: list[float]
    sure: float
    likely: float


class Decibel(msgspec.Struct, frozen=True):
    """Largest level that can be."""

    possible: float


class Velocity(msgspec.Struct, frozen=True):
    """Velocities as a share of the speed of light, and as they are written."""

    share: tuple[float, float]
    fraction: tuple[float, float]
    percent: tuple[float, float]


class CurveShape(msgspec.Struct, frozen=True):
    """What speaks for and against a quantity in the shape of a curve."""

    falling: frozenset[str]
    rises: float
    does_not_rise: float
    falls_by: float
    flat: tuple[float, float]


class EndLetters(msgspec.Struct, frozen=True):
    """Pairs of letters for the local and the remote end."""

    letters: list[tuple[str, str]]


class Wavelengths(msgspec.Struct, frozen=True):
    """Wavelengths of the trade, in nm."""

    nm: frozenset[str]


class LabelSearch(msgspec.Struct, frozen=True):
    """How sure a label is that a search found: the only one that makes records whole, the likeliest of several, one
    of several that are as likely."""

    alone: float
    ranked: float
    even: float


class Apart(msgspec.Struct, frozen=True):
    """Median levels, in dB, by which quantities of one pair and one end are told apart, and how sure that is."""

    levels: dict[str, tuple[float, float]]
    highest: dict[str, tuple[float, float]]
    by_level: float


class Hypotheses(msgspec.Struct, frozen=True):
    """The whole file."""

    weights: dict[str, float]
    confidence: Confidence
    fact: dict[str, Fact]
    quantity: dict[str, Range]
    decibel: Decibel
    meaning: dict[str, dict[str, str]]
    velocity: Velocity
    frequency: dict[str, tuple[float, float]]
    shape: CurveShape
    ends: EndLetters
    wavelengths: Wavelengths
    label: LabelSearch
    apart: Apart
    doubt: dict[str, float]
    per_metre: dict[str, tuple[float, float]]


@cache
def hypotheses() -> Hypotheses:
    """The hypotheses, read once. Errors: Trouble where the file does not fit."""
    name = "hypotheses.toml"
    return convert(schemas.load(name), Hypotheses, f"schemas/{name}", code="draft.hypotheses")


def weight(name: str) -> float:
    """A weight in log-odds, by its name."""
    return hypotheses().weights[name]


def doubt(name: str) -> float:
    """The highest probability that a doubt leaves, by its name."""
    return hypotheses().doubt[name]


def confidence(score: float) -> float:
    """The probability that a place of this score is right, with two decimals."""
    known = hypotheses().confidence
    return round(float(np.interp(score, known.score, known.right)), 2)


def score_of(probability: float) -> float:
    """The score of a probability, the reverse of `confidence`."""
    known = hypotheses().confidence
    return float(np.interp(probability, known.right, known.score))


SURE = hypotheses().confidence.sure
LIKELY = hypotheses().confidence.likely
