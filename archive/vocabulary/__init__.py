"""The terms of the trade, read from schemas/vocabulary.toml."""

from __future__ import annotations

from archive.vocabulary.terms import (
    COMBINATIONS,
    ENDS,
    ORDERED,
    PAIRS,
    Parameter,
    meaning,
    other_end,
    pairings,
    parameter,
    parameters,
    wavelength_of,
    words,
)

__all__ = [
    "COMBINATIONS",
    "ENDS",
    "ORDERED",
    "PAIRS",
    "Parameter",
    "meaning",
    "other_end",
    "pairings",
    "parameter",
    "parameters",
    "wavelength_of",
    "words",
]
