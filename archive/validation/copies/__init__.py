"""Curves that stand under more than one link: exact and near copies, found by an index and not by all pairs.

The statistic rests on near-end crosstalk and return loss alone. Insertion loss never counts: short links of one
reel share it honestly at 0.1 dB.
"""

from __future__ import annotations

from archive.validation.copies.detector import CopiedPair, Copies, find
from archive.validation.copies.sketch import Sketches

__all__ = ["CopiedPair", "Copies", "Sketches", "find"]
