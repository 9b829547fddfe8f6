"""A batch as arrays, shared by all limits that it is graded against."""

from __future__ import annotations

from typing import Any

import numpy as np
import pyarrow as pa

from archive.grading import alien
from archive.grading.arithmetic import Bools, Ints, Reals
from archive.grading.curves import ORIGINS, PAIRINGS, Curves
from archive.grading.graded_columns import UNKNOWN, TextCodes
from archive.grading.layouts import Layout, layouts
from archive.grading.reading_arrays import ScalarReadings
from archive.grading.reported import ReportedPoints
from archive.tables import Batch


class GradingInput:
    """Curves, layouts, readings and reported points of a batch; per record its id, label, words for the limit,
    reported verdict (PASS, FAIL, UNKNOWN), marginal mark, evidence and configuration."""

    def __init__(self, batch: Batch) -> None:
        self.batch = batch
        self.pairings = TextCodes()
        for name in PAIRINGS:
            self.pairings.code(name)
        curves = Curves(batch)
        given = (curves.origin >= 0) & (curves.origin != ORIGINS.index("limit"))
        self.curves = alien.lay(curves, given)
        given = (self.curves.origin >= 0) & (self.curves.origin != ORIGINS.index("limit")) & ~self.curves.disturbed
        parts = [i for i, name in enumerate(self.curves.parameters) if name in alien.PARTS]
        self.layouts: list[Layout] = list(layouts(self.curves, given & ~np.isin(self.curves.parameter, parts)))
        self.scalars = ScalarReadings(batch)
        self.reported = ReportedPoints(batch, self.pairings)
        records = batch["records"]
        self.ids = _whole(records.column("record_id"))
        self.labels = _whole(records.column("link_label"))
        self.found = _whole(records.column("limit_found"))
        verdict = np.array(
            [{"pass": 0, "fail": 1}.get(v, UNKNOWN) for v in records.column("reported_verdict").to_pylist()], np.int64
        )
        self.reported_verdict: Ints = verdict
        self.marked = records.column("reported_marginal").to_pylist()
        self.evidence = records.column("evidence").to_pylist()
        self.configuration = records.column("configuration").to_pylist()

    def on_grid(self, record: Ints, frequency: Reals) -> Bools:
        """Is a frequency a point of some curve of its record."""
        out = np.zeros(len(record), np.bool_)
        for place, layout in enumerate(self.layouts):
            mine = np.flatnonzero(self._in_layout(place)[record])
            if not len(mine):
                continue
            for code in np.unique(np.concatenate([slots.axes for slots in layout.slots.values()])).tolist():
                f = self.curves.axes[code].frequencies
                at = np.clip(np.searchsorted(f, frequency[mine]), 1, max(1, len(f) - 1))
                near = np.abs(f[at - 1] - frequency[mine])
                near = np.minimum(near, np.abs(f[np.minimum(at, len(f) - 1)] - frequency[mine]))
                out[mine] |= near <= 1e-6 * frequency[mine]
        return out

    def _in_layout(self, place: int) -> Bools:
        """A flag per record: is it one of a layout's."""
        flags = np.zeros(len(self.batch), np.bool_)
        flags[self.layouts[place].records] = True
        return flags


def _whole(column: Any) -> Any:
    return pa.concat_arrays(column.chunks) if column.num_chunks else pa.array([], type=column.type)
