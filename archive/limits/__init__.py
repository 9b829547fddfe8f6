"""Limit lines as functions of frequency, read from schemas/limits/; finding the limit that an export's words mean."""

from __future__ import annotations

from archive.limits.library import get, ids, version
from archive.limits.limit import Alternative, Limit, Scalar
from archive.limits.line import Bound, Line, Piece, Rule
from archive.limits.words import Resolution, find

__all__ = [
    "Alternative",
    "Bound",
    "Limit",
    "Line",
    "Piece",
    "Resolution",
    "Rule",
    "Scalar",
    "find",
    "get",
    "ids",
    "version",
]
