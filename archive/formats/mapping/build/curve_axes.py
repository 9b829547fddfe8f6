"""The axis of a curve that stands in one cell: from headings, a cell beside it, start and step, or a shared list."""

from __future__ import annotations

from itertools import takewhile

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from archive.formats.base import numbers, units
from archive.formats.mapping.build.cell_arrays import axis_values
from archive.formats.mapping.model import SourceField
from archive.formats.mapping.row_frame import RowFrame
from archive.tables.arrow import Ints, Reals

_MOST = 1 << 24
"""Points of an axis that three numbers may state."""

SharedAxes = dict[tuple[int, str], Reals]
"""Axes in MHz by record (-1: of the file) and name ("" where unnamed)."""


class CurveAxes:
    """Finds the axis (float64, MHz) of curves that stand in cells. Errors: ValueError where a cell is no axis."""

    def __init__(self, writing: numbers.Writing) -> None:
        self._writing = writing
        self._read: dict[tuple[str, str], Reals] = {}

    def common(self, frame: RowFrame, at: Ints) -> Reals | None:
        """The axis that some rows plainly share: from the headings, or from equal cells of text; else None."""
        if frame.axis is not None:
            return frame.axis
        listed = [f for f in frame.table.fields if f.to.table == "row" and f.to.name == "frequencies"]
        if len(listed) != 1 or listed[0].source not in frame.columns:
            return None
        cells = frame.columns[listed[0].source]
        if not pa.types.is_string(cells.type) or cells[int(at[0])].as_py() is None:
            return None
        some = cells if len(at) == len(cells) else cells.take(pa.array(at))
        if not pc.all(pc.fill_null(pc.equal(some, some[0]), False)).as_py():
            return None
        frame.keyed.add(listed[0].source)
        try:
            return self._in_cell(some[0].as_py(), listed[0])
        except ValueError:
            return None

    def of(self, frame: RowFrame, f: SourceField, i: int, n: int, shared: SharedAxes) -> Reals | None:
        """The axis of the n values that a field has in row i; None where nothing gives one."""
        if frame.axis is not None:
            return frame.axis
        record = int(frame.record[i])
        named = frame.table.find("axis")
        frame.keyed.update(x.source for x in [named] if x is not None)
        name = frame.columns[named.source][i].as_py() if named and named.source in frame.columns else ""
        listed = [x for x in frame.table.fields if x.to.table == "row" and x.to.name == "frequencies"]
        listed = [x for x in listed if x.source in frame.columns and frame.columns[x.source][i].as_py() is not None]
        if listed:
            near = max(listed, key=lambda x: alike(x.source, f.source))
            frame.keyed.add(near.source)
            return self._in_cell(frame.columns[near.source][i].as_py(), near)
        regular = self._regular(frame, i, n)
        if regular is not None:
            return regular
        for key in ((record, name or ""), (-1, name or "")):
            if name and key in shared:
                return shared[key]
        own = [k for k in shared if k[0] == record] or [k for k in shared if k[0] == -1]
        if not own or name:
            return None
        # Of several axes the one whose name begins most like that of the curve.
        return shared[max(own, key=lambda k: alike(k[1], f.source))]

    def _in_cell(self, cell: str | list[float], f: SourceField) -> Reals:
        """The axis that a cell holds; a text that came before is not read again."""
        if not isinstance(cell, str):
            return axis_values(cell, f, self._writing)
        found = self._read.get((f.source, cell))
        if found is None:
            if len(self._read) > 64:
                self._read.clear()
            found = self._read[(f.source, cell)] = axis_values(cell, f, self._writing)
        return found

    def _regular(self, frame: RowFrame, i: int, n: int) -> Reals | None:
        """From start and step, or from start and stop."""
        given: dict[str, float] = {}
        for name in ("start", "stop", "step"):
            f = frame.table.find(name)
            if f and f.source in frame.columns and frame.columns[f.source][i].as_py() is not None:
                frame.keyed.add(f.source)
                cells = frame.columns[f.source].slice(i, 1)
                one = numbers.read(cells, self._writing, units.for_unit(f.unit, "MHz", name))
                given[name] = float(one.values[0])
        if not np.isfinite([*given.values()]).all():
            return None
        if "start" in given and "step" in given:
            if "stop" in given and given["step"] > 0:
                # Where all three are stated they say how many values there are.
                n = round((given["stop"] - given["start"]) / given["step"]) + 1
            return np.round(given["start"] + given["step"] * np.arange(max(0, min(n, _MOST))), 9)
        if "start" in given and "stop" in given and n > 1:
            return np.round(np.linspace(given["start"], given["stop"], n), 9)
        return None


def alike(one: str, other: str) -> int:
    """Characters with which two names both begin."""
    return sum(1 for _ in takewhile(lambda both: both[0] == both[1], zip(one, other, strict=False)))
