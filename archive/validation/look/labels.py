"""Labels of links in the form in which they are compared; what is archived stays as found."""

from __future__ import annotations

import unicodedata
from functools import lru_cache

_DASHES = dict.fromkeys(map(ord, "‐‑‒–—―−﹣－"), "-")
_ALIKE = str.maketrans({"o": "0", "i": "1", "l": "1"})


@lru_cache(maxsize=1 << 16)
def plain(label: str) -> str:
    """Without regard to case, blanks and kinds of dashes: 1a - b07 is 1A-B07."""
    text = unicodedata.normalize("NFKC", label).translate(_DASHES).casefold()
    return "".join(text.split())


@lru_cache(maxsize=1 << 16)
def alike(label: str) -> str:
    """The same without regard to O and 0, I, l and 1: what a hurried hand mixes up."""
    return plain(label).translate(_ALIKE)
