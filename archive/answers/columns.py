"""Tables for a terminal: one line a row where the page is wide enough, else folded, and in parts below each other."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator, Sequence

_GAP = "  "
_LEAST = 8
"""Letters that a column of words keeps."""


def aligned(rows: Sequence[Sequence[str]], left: int, *, width: int, again: int | None = None) -> Iterator[str]:
    """The lines of a table, its heads first.

    rows: heads, then cells; all of one length. left: so many columns stand flush left, and are folded where they are
    too wide; the others stand flush right and are never folded. again: so many columns, which say what a row is of,
    stand in every part of a table that is too wide for one (default: those flush left); at most half of the page is
    theirs, or the whole of it where there are no others.
    """
    first = left if again is None else again
    sizes = [max(len(row[i]) for row in rows) for i in range(len(rows[0]))]
    if _wide(sizes, range(len(sizes))) > width:
        room = width // 2 if first < len(sizes) else width
        while first and _wide(sizes, range(first)) > room and max(sizes[:first]) > _LEAST:
            sizes[sizes.index(max(sizes[:first]))] -= 1
        beside = max(_LEAST, width - _wide(sizes, range(first)) - len(_GAP))
        sizes[first:left] = [min(size, beside) for size in sizes[first:left]]
    for n, columns in enumerate(_shared(sizes, first, width)):
        if n:
            yield ""
        for row in rows:
            yield from _lines(row, columns, sizes, left)


def _shared(sizes: Sequence[int], first: int, width: int) -> Iterator[list[int]]:
    """The columns of each part."""
    shown = list(range(first))
    for i in range(first, len(sizes)):
        if len(shown) > first and _wide(sizes, [*shown, i]) > width:
            yield shown
            shown = list(range(first))
        shown.append(i)
    yield shown


def _wide(sizes: Sequence[int], columns: Sequence[int]) -> int:
    return sum(sizes[i] for i in columns) + len(_GAP) * max(0, len(columns) - 1)


def _lines(row: Sequence[str], columns: Sequence[int], sizes: Sequence[int], left: int) -> list[str]:
    """A row in as many lines as its longest folded cell takes."""
    cells = {
        i: textwrap.wrap(row[i], sizes[i], break_on_hyphens=False) if i < left and len(row[i]) > sizes[i] else [row[i]]
        for i in columns
    }
    made = []
    for n in range(max(map(len, cells.values()))):
        pieces = ((cells[i][n] if n < len(cells[i]) else "", sizes[i], i < left) for i in columns)
        made.append(_GAP.join(c.ljust(size) if flush else c.rjust(size) for c, size, flush in pieces).rstrip())
    return made
