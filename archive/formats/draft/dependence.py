"""Which columns decide others: the label of a link decides its date, its verdict and its lengths in every row."""

from __future__ import annotations

from collections.abc import Hashable, Sequence
from typing import Any

from archive.formats.draft.columns import Seen, filled_down

_MOST_ROWS = 3000


def decided(s: Seen, others: Sequence[Seen]) -> int:
    """How many columns have one value in all rows of one cell of a column, and not everywhere; 0 where that column
    differs from row to row, for then it decides everything."""
    keys = [str(c) for c in filled_down(s.column.cells[:_MOST_ROWS])]
    groups = len(set(keys))
    if not 1 < groups <= 0.5 * len(keys):
        return 0
    return sum(_decides(keys, o.column.cells) for o in others if o is not s and not o.profile.constant)


def one_each(label: Seen, s: Seen) -> bool:
    """Whether a column has one value for each of several rows of a link, and differs from link to link."""
    keys = [str(c) for c in filled_down(label.column.cells[:_MOST_ROWS])]
    return len(keys) == len(s.column.cells[:_MOST_ROWS]) > 2 * len(set(keys)) and _decides(keys, s.column.cells)


def _decides(keys: Sequence[str], cells: Sequence[Any]) -> bool:
    """Whether all cells beside one key are equal; blank ones are not asked."""
    found: dict[str, Hashable] = {}
    values: set[Hashable] = set()
    for key, cell in zip(keys, cells, strict=False):
        if cell in (None, ""):
            continue
        value = str(cell)
        values.add(value)
        if found.setdefault(key, value) != value:
            return False
    return len(values) > 1
