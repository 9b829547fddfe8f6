"""Verdicts as exports write them: pass, fail or informative, and whether the result is marked as marginal."""

from __future__ import annotations

import re
from functools import lru_cache

from archive.formats.base import words
from archive.vocabulary import phrases


@lru_cache(maxsize=4096)
def general(cell: str) -> tuple[str | None, bool]:
    """Verdict and mark of a cell by the word list, such as ("pass", True) for "Pass (marginal)"."""
    text = cell.strip()
    marked = bool(re.search(r"[*!~]+$|^[*!~]+", text))
    text = re.sub(r"[*!~]+$|^[*!~]+", "", text).strip()
    whole = words.meaning(text, "verdict")
    if whole == "marginal":
        return None, True
    if whole:
        return whole, marked
    listed = phrases.phrase(text).split()
    if len(listed) > 2 * words.longest():
        # A comment, or a curve: no two phrases are as long.
        return None, False
    for size in range(len(listed) - 1, 0, -1):
        for part, rest in ((listed[:size], listed[size:]), (listed[-size:], listed[:-size])):
            head, tail = words.meaning(" ".join(part), "verdict"), words.meaning(" ".join(rest), "verdict")
            if tail == "marginal" and head in ("pass", "fail", "informative"):
                return head, True
    return None, False


def read(cell: str, own: dict[str, str]) -> tuple[str | None, bool]:
    """Verdict and mark of a cell, first by the mapping's own words ("marginal pass" among them)."""
    found = own.get(cell.strip())
    if found:
        return found.removeprefix("marginal "), found.startswith("marginal ")
    return general(cell)
