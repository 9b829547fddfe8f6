"""What the instrument said of each parameter, as arrays."""

from __future__ import annotations

import numpy as np
import pyarrow as pa

from archive import vocabulary
from archive.grading import limit_values
from archive.grading.arithmetic import EXACT, Bools, Ints, Reals
from archive.grading.graded_columns import (
    DOUBT_MEMORY,
    FAIL,
    FROM_MEMORY,
    NOT_GRADED,
    VERDICTS,
    WORST_MARGIN,
    WORST_VALUE,
    GradedColumns,
    LimitNotes,
    TextCodes,
)
from archive.grading.sweep_arrays import end_codes, lower_first
from archive.limits import Limit
from archive.tables import Batch
from archive.tables.arrow import coded, reals, rows_of

OVERALL = 4
_KINDS = {"worst_margin": WORST_MARGIN, "worst_value": WORST_VALUE, "overall": OVERALL}
_NUMBERS = ("frequency_mhz", "value", "limit", "margin", "step", "uncertainty")


class ReportedPoints:
    """The reported table. Each array (n,): record, parameter (place in names), kind, end (code; 2 where the
    parameter has none), pairing (number of a text), frequency, value, limit, margin, step, uncertainty (NaN: not
    said), verdict (PASS, FAIL, -1 none), marginal (1, 0, -1 not said). coverage: k of the uncertainties, per record of
    the batch (NaN: not said)."""

    def __init__(self, batch: Batch, pairings: TextCodes) -> None:
        table = batch["reported"]
        self.record: Ints = rows_of(table.column("record_id"), batch["records"].column("record_id"))
        self.names, self.parameter = coded(table.column("parameter"))
        kinds = np.array([*_KINDS.values(), 0])
        self.kind: Ints = kinds[rows_of(table.column("kind"), pa.array(list(_KINDS), pa.string()))]
        end = end_codes(table.column("end"))
        taken = np.array([*(vocabulary.parameter(name).ends for name in self.names), False])
        self.end: Ints = np.where(taken[self.parameter], end, 2)
        listed, pairing = coded(table.column("pairing"))
        number = np.array([*(pairings.code(name) for name in listed), -1], np.int64)
        turned = np.array([*(pairings.code(lower_first(name)) for name in listed), -1], np.int64)
        unordered = np.array([*(vocabulary.parameter(name).per == "combination" for name in self.names), False])
        self.pairing: Ints = np.where(unordered[self.parameter], turned[pairing], number[pairing])
        self.frequency, self.value, self.limit, self.margin, self.step, self.uncertainty = (
            reals(table.column(name)) for name in _NUMBERS
        )
        self.coverage: Reals = reals(batch["records"].column("coverage_factor"))
        self.verdict: Ints = rows_of(table.column("verdict"), pa.array(VERDICTS[:2], pa.string()))
        marginal = table.column("marginal").to_pylist()
        self.marginal: Ints = np.array([-1 if m is None else int(m) for m in marginal], np.int64)
        maximum = np.array([*(vocabulary.parameter(name).sense == "max" for name in self.names), False])
        self.sign: Reals = np.where(maximum[self.parameter], -1.0, 1.0)
        between = (self.value - self.limit) * self.sign
        self.margin = np.where(np.isnan(self.margin), between, self.margin)
        self.rebuilt: Bools = np.isnan(self.value)
        self.value = np.where(self.rebuilt, self.limit + self.margin * self.sign, self.value)

    def __len__(self) -> int:
        return len(self.record)

    def numbers(self, limit: Limit, places: dict[str, int]) -> Ints:
        """Place of each row's parameter in a limit; -1 where the limit has none. places: by parameter of the limit."""
        names = [places.get(limit.names.get(name, name), places.get(name, -1)) for name in self.names]
        return np.array([*names, -1], np.int64)[self.parameter]


def from_points(
    limit: Limit, reported: ReportedPoints, wanted: Bools, is_named: Bools, notes: LimitNotes
) -> list[GradedColumns]:
    """Graded worst points of the instrument, for parameters of which nothing else is there.

    wanted: a flag per row of reported. is_named: per record, is this the limit that the instrument tested to. A point
    that misses the limit fails; one that meets it proves no pass. Where the limit has exemptions, only the instrument
    knows which points they concern, and only for the limit that it tested to: it leaves them out of its worst margin,
    though not of its worst value.
    """
    number = reported.numbers(limit, notes.numbers)
    usable = wanted & ((reported.kind == WORST_MARGIN) | (reported.kind == WORST_VALUE)) & ~np.isnan(reported.value)
    found = []
    for place, parameter in enumerate(notes.names):
        line, scalar = limit.lines.get(parameter), limit.scalars.get(parameter)
        part = scalar if line is None else line
        assert part is not None
        rows = np.flatnonzero(usable & (number == place))
        if not len(rows):
            continue
        bar, confidence = limit_values.at_points(limit, parameter, reported.frequency[rows], reported.value[rows])
        judged = ~np.isnan(bar) & limit_values.is_single_number(limit, parameter)
        rows, bar, confidence = rows[judged], bar[judged], confidence[judged]
        if not len(rows):
            continue
        value = reported.value[rows]
        margin = bar - value if part.sense == "max" else value - bar
        is_margin = reported.kind[rows] == WORST_MARGIN
        known = (is_margin & is_named[reported.record[rows]]) | (line is None or not line.exemptions)
        misses = margin < -EXACT
        reason = np.where(
            reported.rebuilt[rows],
            notes.texts.code("worst points only, its value rebuilt from margin and limit"),
            notes.texts.code("worst points only"),
        )
        exempt = notes.texts.code("worst points only, of which one may be for information only")
        reason[misses & ~known] = exempt
        notes.missing[reported.record[rows], place] = notes.texts.code("worst points only")
        notes.missing[reported.record[rows[misses & ~known]], place] = exempt
        point = (reported.frequency[rows], value, bar, margin)
        graded = GradedColumns.of(
            rows.shape,
            tuple(np.where(is_margin, column, np.nan) for column in point),
            tuple(np.where(is_margin, np.nan, column) for column in point),
            record=reported.record[rows],
            parameter=place,
            end=reported.end[rows],
            pairing=reported.pairing[rows],
            verdict=np.where(misses & known, FAIL, NOT_GRADED),
            reason=reason,
            confidence=confidence,
            doubts=np.where(confidence == FROM_MEMORY, DOUBT_MEMORY, 0),
            resolution=reported.step[rows] / 2,
            derived=False,
            decides=part.decides,
            kinds=reported.kind[rows],
        )
        found.append(graded)
    return found
