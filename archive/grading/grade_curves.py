"""Grades the curves of one layout against one limit: block by block of records, each parameter in one array pass."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from archive.grading.arithmetic import EXACT, Bools, Ints, Reals, Values, WorstCases, worst
from archive.grading.comparison import Comparison
from archive.grading.coverage import kept, what_is_missing
from archive.grading.curves import PAIRINGS, Curves
from archive.grading.differences import checks
from archive.grading.expressions import CurveExpression, RecordBlock, selected
from archive.grading.graded_columns import (
    CONFIDENCES,
    FAIL,
    NOT_GRADED,
    PASS,
    WORST_MARGIN,
    WORST_VALUE,
    GradedColumns,
    LimitNotes,
    TextCodes,
)
from archive.grading.layouts import Layout
from archive.grading.line_on_grid import InformationalRule, LineOnGrid, lay_line, rules_of
from archive.grading.plan import DerivationPlan

BLOCK_VALUES = 400_000
"""Values of one parameter that a block holds at the most, so that its arrays stay near the processor."""
_MEMORY = CONFIDENCES.index("C")


@dataclass
class GradingTask:
    """One parameter on one grid: what to compute, and what came of it, each (records, curves).

    missed: the curve would fail without a rule, a cap or a floor that is known only from memory.
    """

    number: int
    line: Any
    expression: CurveExpression
    line_on_grid: LineOnGrid
    rules: list[InformationalRule]
    found: list[WorstCases] = field(default_factory=list)
    missed: list[Bools] = field(default_factory=list)

    def run(self, block: RecordBlock) -> None:
        """Grades a block."""
        values = self.expression.at(block)
        points = len(self.expression.grid.frequencies)
        if self.line_on_grid.columns != slice(0, points):
            values = values.take((..., self.line_on_grid.columns))
        informational, maximum = None, self.line.sense == "max"
        missed = np.zeros(values.low.shape[:2], np.bool_)
        for rule in self.rules:
            out = rule.at(block, self.line_on_grid.columns)
            if rule.from_memory and out.any():
                missed |= (out & (_best_margin(values, self.line_on_grid.limits, maximum) < 0)).any(axis=-1)
            informational = out if informational is None else informational | out
        if len(bounded := self.line_on_grid.bounded):
            short = _best_margin(values.take((..., bounded)), self.line_on_grid.unbounded, maximum) < -EXACT
            missed |= (short if informational is None else short & ~informational[..., bounded]).any(axis=-1)
        self.found.append(worst(values, self.line_on_grid.limits, maximum, informational))
        self.missed.append(missed)


def _best_margin(values: Values, limits: Reals, maximum: bool) -> Reals:
    return limits - values.low if maximum else values.high - limits


def tasks(limit: Any, plan: DerivationPlan) -> Iterator[GradingTask]:
    """What there is to grade: every line of the limit, on every grid on which its parameter lies."""
    for number, (parameter, line) in enumerate(limit.lines.items()):
        for expression in plan.curves_for(parameter):
            expression = selected(expression, kept(expression.pairings, PAIRINGS, limit.pairs))
            laid = lay_line(line, expression.grid)
            if len(expression) and len(laid.frequencies):
                yield GradingTask(number, line, expression, laid, list(rules_of(line, expression, plan)))


def grade_layout(
    limit: Any, curves: Curves, layout: Layout, own: Bools, comparison: Comparison, tables: LimitNotes
) -> list[GradedColumns]:
    """Graded curves of one layout; what they reach and what is missing goes into tables, where the export
    contradicts itself into comparison. own: per record of the batch, did the instrument test to this limit."""
    plan = plan_for(limit, curves, layout)
    todo = list(tasks(limit, plan))
    looked = list(checks(plan)) if own[layout.records].any() else []
    with np.errstate(over="ignore", invalid="ignore"):  # absurd values overflow to infinity, and fail as they should
        for block in blocks(plan):
            for task in todo:
                task.run(block)
            for check in looked:
                check.run(block)
    for check in looked:
        check.report(layout, tables.numbers.get(check.parameter, -1), comparison)
    if not layout.duplicate:
        _reached(limit, plan, todo, tables)
    return [_piece(task, layout, tables.texts, tables.pairings) for task in todo]


def _reached(limit: Any, plan: DerivationPlan, todo: list[GradingTask], tables: LimitNotes) -> None:
    """Notes what the records of a layout lack, and the frequencies that they cover, by parameter."""
    records = plan.layout.records
    for number, (parameter, line) in enumerate(limit.lines.items()):
        mine = [task for task in todo if task.number == number]
        there = {
            (int(e), PAIRINGS[p]) for t in mine for e, p in zip(t.expression.ends, t.expression.pairings, strict=True)
        }
        tables.missing[records, number] = tables.texts.code(what_is_missing(parameter, limit.pairs, there))
        if mine and line.role == "required":
            reaches = [task.line_on_grid.reach for task in mine]
            whole = all(reach.whole for reach in reaches)
            tables.cover(records, whole, max(r.first for r in reaches), min(r.last for r in reaches))


def plan_for(limit: Any, curves: Curves, layout: Layout) -> DerivationPlan:
    """A plan over the frequencies for which any line of the limit speaks."""
    ranges = [line.range_mhz for line in limit.lines.values()]
    return DerivationPlan(curves, layout, min(r[0] for r in ranges), max(r[1] for r in ranges))


def blocks(plan: DerivationPlan) -> Iterator[RecordBlock]:
    """The records of a layout in runs."""
    slots = plan.layout.slots.values()
    widest = max((len(s) * len(plan.curves.axes[int(c)].frequencies) for s in slots for c in set(s.axes)), default=1)
    size = max(1, BLOCK_VALUES // max(1, widest))
    count = len(plan.layout.records)
    for first in range(0, count, size):
        yield RecordBlock(slice(first, min(first + size, count)))


def _piece(task: GradingTask, layout: Layout, texts: TextCodes, pairings: TextCodes) -> GradedColumns:
    laid, expression = task.line_on_grid, task.expression
    shape = (len(layout.records), len(expression))
    at, value, margin, value_at, worst_value = (
        np.concatenate([getattr(w, name) for w in task.found])
        for name in ("at", "value", "margin", "value_at", "worst_value")
    )
    failed, undecided, judged = (
        np.concatenate([getattr(w, name) for w in task.found]) for name in ("failed", "undecided", "judged")
    )
    missed = np.concatenate(task.missed)
    sign = 1.0 if task.line.sense == "max" else -1.0
    value_limit = np.where(value_at >= 0, laid.limits[value_at], np.nan)
    unsure = (undecided > 0) | laid.reach.whole ^ True
    verdict = np.where(failed, FAIL, np.where(unsure, NOT_GRADED, PASS))
    # A fail rests on the line where it fails, a pass on all of the line that was looked at.
    confidence = np.where(failed, laid.confidences[at], laid.confidence)

    def column(values: Any) -> Any:
        return np.ascontiguousarray(np.broadcast_to(values, shape)).ravel()

    codes = np.array([pairings.code(PAIRINGS[code]) for code in expression.pairings], np.int64)
    return GradedColumns(
        record=column(layout.records[:, None]),
        parameter=column(task.number),
        end=column(expression.ends),
        pairing=column(codes),
        frequency=column(np.where(at >= 0, laid.frequencies[at], np.nan)),
        value=column(value),
        limit=column(np.where(at >= 0, laid.limits[at], np.nan)),
        margin=column(margin),
        value_frequency=column(np.where(value_at >= 0, laid.frequencies[value_at], np.nan)),
        value_value=column(worst_value),
        value_limit=column(value_limit),
        value_margin=column((value_limit - worst_value) * sign),
        verdict=column(verdict),
        reason=column(_reasons(task, undecided, judged, failed, texts)),
        confidence=column(confidence),
        provisional=column((confidence == _MEMORY) | (missed & ~failed)),
        resolution=column(expression.resolution),
        derived=column(expression.derived),
        decides=column(task.line.role != "information"),
        kinds=column(WORST_MARGIN + WORST_VALUE),
    )


def _reasons(task: GradingTask, undecided: Ints, judged: Ints, failed: Bools, texts: TextCodes) -> Ints:
    """Numbers of the texts that say what was left out or is missing."""
    gap = task.line_on_grid.reach.gap
    reasons = np.full(undecided.shape, texts.code(gap))
    points = len(task.line_on_grid.frequencies)
    odd = (undecided > 0) | (judged == 0)
    for r, k in zip(*np.nonzero(odd), strict=True):
        parts = [gap] if gap else []
        if undecided[r, k]:
            parts.append(f"{undecided[r, k]} of {points} points are missing or known only as a bound")
        if judged[r, k] == 0:
            parts.append("every point is for information only")
        reasons[r, k] = texts.code("; ".join(parts))
    return reasons
