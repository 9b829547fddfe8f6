"""Identifiers of links, by the shape of their cells alone."""

from __future__ import annotations

import re
from collections.abc import Sequence

LABEL_SHAPE = re.compile(r"^(?=.*\d)(?=.*[^\W\d_])(?:[\w.]++(?:[-/:][\w.]++)++|[\w.]\w*+\.[\w.]++)$")
"""Identifiers of several parts with letters and digits, as ANSI/TIA-606 and ISO/IEC 14763-2 have them."""


def alike(cells: Sequence[str]) -> bool:
    """Whether cells are identifiers of few patterns: several parts with letters and digits, or numbers with their
    zeroes; no counts, and no codes of which each is of another pattern."""
    some = cells[:200]
    if all(LABEL_SHAPE.search(c) for c in some):
        return True
    if not all(re.search(r"\d", c) and len(c) < 30 for c in some):
        return False
    if all(c.isdigit() for c in some):
        return len({len(c) for c in some}) == 1 and len(some[0]) > 2 and any(c[0] == "0" for c in some)
    patterns = {re.sub(r"\d", "9", re.sub(r"[A-Za-z]$", "a", c)) for c in some}
    return len(patterns) <= max(1, 0.4 * len(some)) and all(re.search(r"[^\W\d_]", c) for c in some)
