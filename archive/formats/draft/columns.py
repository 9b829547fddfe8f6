"""Columns and labels with the readings of their headings and the profiles of their cells."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from archive.formats.base import words
from archive.formats.draft import heading
from archive.formats.draft.heading import Heading
from archive.formats.draft.layout import Column
from archive.formats.draft.profile import Profile, profile

MOST_CELLS = 6000
"""Cells of a column whose profile is taken."""


@dataclass
class Seen:
    """A column with its profile and three readings of its heading: with what stands above the table, its own, and its
    own without the names of the elements around it."""

    column: Column
    heading: Heading
    profile: Profile
    own: Heading
    inner: Heading

    @property
    def source(self) -> str:
        """Its name."""
        return self.column.source

    @property
    def numeric(self) -> bool:
        """Whether nearly every cell is a number."""
        return self.profile.numeric > 0.9


def look(columns: Sequence[Column], context: tuple[str, ...], decimal: str, thousands: str) -> list[Seen]:
    """Columns with their readings and profiles. context: words above them, outermost first."""
    out = []
    for c in columns:
        found = profile(c.cells[:MOST_CELLS], decimal, thousands)
        if len(c.cells) > MOST_CELLS and found.numeric < 0.5 and found.filled:
            # Words further down, such as the quantity of the curves that come later.
            more = dict.fromkeys(x.strip() for x in c.cells[MOST_CELLS:] if isinstance(x, str) and x.strip())
            found.distinct = list(dict.fromkeys([*found.distinct, *more]))[:MOST_CELLS]
        inner = heading.read(*c.levels[c.outer :])
        seen = Seen(c, heading.read(*context, *c.levels), found, heading.read(*c.levels), inner)
        if seen.numeric and "marginal" in inner.fields:
            # In Swedish, and in numbers anywhere, it is a margin.
            for h in (seen.heading, seen.own, seen.inner):
                h.fields = [f for f in h.fields if f != "marginal"]
                h.modifiers.add("margin")
        out.append(seen)
    return out


def runs_of(cells: Sequence[object], blocks: Sequence[int]) -> list[object]:
    """Something that differs from record to record, for each row: the block, and a cell or the one it repeats."""
    return list(zip(blocks, filled_down(cells), strict=False))


def filled_down(cells: Sequence[object]) -> list[object]:
    """A cell that is left blank, or holds a word for nothing, repeats the one above."""
    last: object = None
    out = []
    empty = words.empties()
    for cell in cells:
        blank = cell in (None, "") or (isinstance(cell, str) and cell.strip().casefold() in empty)
        last = last if blank else cell
        out.append(last)
    return out
