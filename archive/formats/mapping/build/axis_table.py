"""Axes of curves: each distinct one once, with its id."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from archive.tables import axis_id
from archive.tables.arrow import Reals


class AxisTable:
    """Axes of one reading. The id of an axis follows from its numbers; it is computed once for equal bytes."""

    def __init__(self) -> None:
        self._ids: dict[bytes, str] = {}
        self._values: dict[str, Reals] = {}
        self._used: dict[str, None] = {}

    def id(self, mhz: Reals) -> str:
        """Id of an axis of frequencies in MHz (float64, strictly rising)."""
        mark = mhz.tobytes()
        found = self._ids.get(mark)
        if found is None:
            found = self._ids[mark] = axis_id("frequencies_mhz", mhz)
            self._values[found] = mhz.copy()
        return found

    def used(self, ids: Sequence[str]) -> Sequence[str]:
        """Marks axes as those of curves that were kept, and gives them back."""
        self._used.update(dict.fromkeys(ids))
        return ids

    def take(self) -> list[dict[str, Any]]:
        """Rows of the axes used since the last call."""
        rows = [{"axis_id": n, "frequencies_mhz": self._values[n].tolist()} for n in self._used]
        self._used = {}
        if len(self._ids) > 4096:
            self._ids, self._values = {}, {}
        return rows
