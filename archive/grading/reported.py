"""What the instrument said of each parameter, as arrays."""

from __future__ import annotations

from typing import Any

import numpy as np
import pyarrow as pa

from archive import vocabulary
from archive.grading.arithmetic import EXACT, Bools, Ints, Reals
from archive.grading.curves import ENDS, codes, places
from archive.grading.grade_scalars import order
from archive.grading.graded_columns import (
    CONFIDENCES,
    FAIL,
    NOT_GRADED,
    WORST_MARGIN,
    WORST_VALUE,
    GradedColumns,
    TextCodes,
)
from archive.tables import Batch

OVERALL = 4
_KINDS = {"worst_margin": WORST_MARGIN, "worst_value": WORST_VALUE, "overall": OVERALL}
_NUMBERS = ("frequency_mhz", "value", "limit", "margin", "step")


class ReportedPoints:
    """The reported table. Each array (n,): record, parameter (place in names), kind, end (code; 2 where the
    parameter has none), pairing (number of a text), frequency, value, limit, margin, step (NaN: not said),
    verdict (PASS, FAIL, -1 none), marginal (1, 0, -1 not said)."""

    def __init__(self, batch: Batch, pairings: TextCodes) -> None:
        table = batch["reported"]
        self.record: Ints = places(table.column("record_id"), batch["records"].column("record_id"))
        self.names, self.parameter = codes(table.column("parameter"))
        kinds = np.array([*_KINDS.values(), 0])
        self.kind: Ints = kinds[places(table.column("kind"), pa.array(list(_KINDS), pa.string()))]
        end = places(table.column("end"), pa.array(ENDS[:2], pa.string()))
        taken = np.array([*(vocabulary.parameter(name).ends for name in self.names), False])
        self.end: Ints = np.where((end < 0) | ~taken[self.parameter], 2, end)
        listed, pairing = codes(table.column("pairing"))
        number = np.array([*(pairings.code(name) for name in listed), -1], np.int64)
        turned = np.array([*(pairings.code(_turned(name)) for name in listed), -1], np.int64)
        unordered = np.array([*(vocabulary.parameter(name).per == "combination" for name in self.names), False])
        self.pairing: Ints = np.where(unordered[self.parameter], turned[pairing], number[pairing])
        self.frequency, self.value, self.limit, self.margin, self.step = (
            table.column(name).to_numpy(zero_copy_only=False).astype(np.float64) for name in _NUMBERS
        )
        self.verdict: Ints = places(table.column("verdict"), pa.array(("pass", "fail"), pa.string()))
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

    def numbers(self, limit: Any) -> Ints:
        """Place of each row's parameter in the order of a limit; -1 where the limit has none."""
        place = {name: i for i, name in enumerate(order(limit))}
        names = [place.get(limit.names.get(name, name), place.get(name, -1)) for name in self.names]
        return np.array([*names, -1], np.int64)[self.parameter]


def _turned(name: str) -> str:
    other = "/".join(reversed(name.split("/")))
    return other if other in vocabulary.COMBINATIONS else name


def from_points(limit: Any, reported: ReportedPoints, wanted: Bools, texts: TextCodes) -> list[GradedColumns]:
    """Graded worst points of the instrument, where nothing else is there of their parameter.

    wanted: a flag per row of reported. A point that misses the limit fails; one that meets it proves no pass.
    """
    number = reported.numbers(limit)
    usable = (
        wanted
        & (number >= 0)
        & ((reported.kind == WORST_MARGIN) | (reported.kind == WORST_VALUE))
        & ~np.isnan(reported.value)
    )
    pieces = []
    for place, parameter in enumerate(order(limit)):
        rows = np.flatnonzero(usable & (number == place))
        if not len(rows):
            continue
        bar, confidence, decides, maximum = _bars(limit, parameter, reported.frequency[rows])
        rows, bar, confidence = rows[~np.isnan(bar)], bar[~np.isnan(bar)], confidence[~np.isnan(bar)]
        if not len(rows):
            continue
        value, frequency = reported.value[rows], reported.frequency[rows]
        margin = bar - value if maximum else value - bar
        is_margin = reported.kind[rows] == WORST_MARGIN
        # A worst value may lie where points are for information only; then the instrument left it out of its margin.
        ruled = parameter in limit.lines and bool(limit.lines[parameter].exemptions)
        fails = (margin < -EXACT) & (is_margin | (not ruled))
        nothing = np.full(len(rows), np.nan)
        why = np.where(
            reported.rebuilt[rows], texts.code("worst points only, its value rebuilt from margin and limit"), -1
        )
        for kind in (WORST_MARGIN, WORST_VALUE):
            k = np.flatnonzero(reported.kind[rows] == kind)
            point = (frequency[k], value[k], bar[k], margin[k])
            absent = (nothing[k],) * 4
            margin_point, value_point = (point, absent) if kind == WORST_MARGIN else (absent, point)
            pieces.append(
                GradedColumns(
                    reported.record[rows[k]],
                    np.full(len(k), place),
                    reported.end[rows[k]],
                    reported.pairing[rows[k]],
                    *margin_point,  # type: ignore[call-arg]
                    *value_point,
                    np.where(fails[k], FAIL, NOT_GRADED),
                    np.where(why[k] >= 0, why[k], texts.code("worst points only")),
                    confidence[k],
                    confidence[k] == CONFIDENCES.index("C"),
                    reported.step[rows[k]] / 2,
                    np.zeros(len(k), np.bool_),
                    np.full(len(k), decides),
                    np.full(len(k), kind),
                )
            )
    return pieces


def _bars(limit: Any, parameter: str, frequency: Reals) -> tuple[Reals, Ints, bool, bool]:
    """Limit and confidence at some frequencies, whether the parameter decides, whether the limit is a maximum."""
    line, scalar = limit.lines.get(parameter), limit.scalars.get(parameter)
    bar = np.full(frequency.shape, np.nan)
    confidence = np.zeros(frequency.shape, np.int64)
    if line is not None:
        there = np.flatnonzero(~np.isnan(frequency))
        bar[there] = line.at(frequency[there])
        confidence[there] = [CONFIDENCES.index(str(x)) for x in line.confidence_at(frequency[there])]
    if scalar is not None and scalar.greater_of is None and scalar.per != "pairset":
        unbounded = np.isnan(bar) & (
            np.isnan(frequency) | (frequency == (np.nan if scalar.at_mhz is None else scalar.at_mhz)) | (line is None)
        )
        bar[unbounded] = scalar.value * (1 + scalar.tolerance_percent / 100)
        confidence[unbounded] = CONFIDENCES.index(scalar.confidence)
    part = line if line is not None else scalar
    return bar, confidence, part.role != "information", part.sense == "max"
