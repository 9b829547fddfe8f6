"""Axes of curves: each distinct one once, with its id."""

from __future__ import annotations

from typing import Any

import numpy as np

from archive.tables import axis_id


class Axes:
    """Axes met so far. The id of an axis follows from its numbers; it is computed once for equal bytes."""

    def __init__(self) -> None:
        self._ids: dict[bytes, str] = {}
        self._values: dict[str, Any] = {}
        self._used: dict[str, None] = {}

    def id(self, mhz: Any) -> str:
        """Id of an axis of frequencies in MHz (float64, strictly rising)."""
        mark = mhz.tobytes()
        found = self._ids.get(mark)
        if found is None:
            found = axis_id("frequencies_mhz", mhz)
            self._ids[mark] = found
            self._values[found] = np.array(mhz)
        self._used[found] = None
        return found

    def values(self, name: str) -> Any:
        """Frequencies of an axis by its id."""
        return self._values[name]

    def take(self) -> list[dict[str, Any]]:
        """Rows of the axes used since the last call."""
        rows = [{"axis_id": n, "frequencies_mhz": self._values[n].tolist()} for n in self._used]
        self._used = {}
        if len(self._ids) > 4096:
            self._ids, self._values = {}, {}
        return rows
