"""A batch as arrays, shared by all limits that it is graded against."""

from __future__ import annotations

import numpy as np

from archive.grading import alien
from archive.grading.arithmetic import Bools, Ints, Reals
from archive.grading.graded_columns import UNKNOWN, VERDICTS, TextCodes
from archive.grading.layouts import layouts
from archive.grading.reading_arrays import ScalarReadings
from archive.grading.reported import ReportedPoints
from archive.grading.sweep_arrays import PAIRINGS, SweepArrays
from archive.tables import Batch
from archive.tables.arrow import one_chunk


class GradingInput:
    """Curves, layouts, readings and reported points of a batch; per record its id, reported verdict
    (PASS, FAIL, UNKNOWN), marginal mark, evidence and configuration."""

    def __init__(self, batch: Batch) -> None:
        self.batch = batch
        self.pairings = TextCodes()
        for name in PAIRINGS:
            self.pairings.code(name)
        self.curves = alien.with_power_sums(SweepArrays.of(batch), *batch.curves.coded("pairing"))
        single = [i for i, name in enumerate(self.curves.parameters) if name in alien.PARTS]
        usable = ~self.curves.disturbed & ~np.isin(self.curves.parameter, single)
        self.layouts = list(layouts(self.curves, usable))
        self.scalars = ScalarReadings(batch)
        self.reported = ReportedPoints(batch, self.pairings)
        records = batch["records"]
        self.ids = one_chunk(records.column("record_id"))
        codes = {word: code for code, word in enumerate(VERDICTS[:2])}
        words = records.column("reported_verdict").to_pylist()
        self.reported_verdict: Ints = np.array([codes.get(word, UNKNOWN) for word in words], np.int64)
        self.marked = records.column("reported_marginal").to_pylist()
        self.evidence = records.column("evidence").to_pylist()
        self.configuration = records.column("configuration").to_pylist()

    def on_grid(self, record: Ints, frequency: Reals) -> Bools:
        """Is a frequency (MHz) a point of some curve of its record."""
        out = np.zeros(len(record), np.bool_)
        for layout in self.layouts:
            mine = np.flatnonzero(np.isin(record, layout.records))
            wanted = frequency[mine]
            for code in layout.axes if len(mine) else ():
                f = self.curves.axes[code]
                at = np.clip(np.searchsorted(f, wanted), 1, max(1, len(f) - 1))
                near = np.minimum(np.abs(f[at - 1] - wanted), np.abs(f[np.minimum(at, len(f) - 1)] - wanted))
                out[mine] |= near <= 1e-6 * wanted
        return out
