"""Grades the curves of one layout against one limit: block by block of records, each parameter in one array pass."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from archive.grading.arithmetic import EXACT, Bools, Ints, Reals, Values, WorstCases, worst
from archive.grading.comparison import Comparison
from archive.grading.coverage import kept, what_is_missing
from archive.grading.differences import checks
from archive.grading.expressions import CurveExpression, RecordBlock, selected
from archive.grading.graded_columns import (
    FAIL,
    FROM_MEMORY,
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
from archive.grading.sweep_arrays import PAIRINGS, SweepArrays
from archive.limits import Limit, Line

BLOCK_VALUES = 400_000
"""Values of one parameter that a block holds at most, so that its arrays stay in the processor's cache."""


@dataclass
class GradingTask:
    """One parameter on one grid: what to compute, and the results by block, each (records, curves).

    number: place of the parameter in the limit's order. missed: the curve would fail without a rule, a cap or a floor
    that is known only from memory.
    """

    number: int
    line: Line
    expression: CurveExpression
    on_grid: LineOnGrid
    rules: list[InformationalRule]
    found: list[WorstCases] = field(default_factory=list)
    missed: list[Bools] = field(default_factory=list)

    def run(self, block: RecordBlock) -> None:
        """Grades a block."""
        values, limits = self.expression.at(block), self.on_grid.limits
        if self.on_grid.columns != slice(0, len(self.expression.grid.frequencies)):
            values = values.take((..., self.on_grid.columns))
        informational, maximum = None, self.line.sense == "max"
        missed = np.zeros(values.low.shape[:2], np.bool_)
        for rule in self.rules:
            out = rule.at(block, self.on_grid.columns)
            if rule.from_memory and out.any():
                missed |= (out & (_best_margin(values, limits, maximum) < 0)).any(axis=-1)
            informational = out if informational is None else informational | out
        if len(bounded := self.on_grid.bounded):
            short = _best_margin(values.take((..., bounded)), self.on_grid.unbounded, maximum) < -EXACT
            missed |= (short if informational is None else short & ~informational[..., bounded]).any(axis=-1)
        self.found.append(worst(values, limits, maximum, informational))
        self.missed.append(missed)

    def result(self, name: str) -> Any:
        """A field of the worst cases of all blocks, (records, curves)."""
        return np.concatenate([getattr(part, name) for part in self.found])


def _best_margin(values: Values, limits: Reals, maximum: bool) -> Reals:
    return limits - values.low if maximum else values.high - limits


def tasks(limit: Limit, plan: DerivationPlan) -> Iterator[GradingTask]:
    """What there is to grade: every line of the limit, on every grid that its parameter has."""
    for number, (parameter, line) in enumerate(limit.lines.items()):
        for expression in plan.curves_for(parameter):
            expression = selected(expression, kept(expression.pairings, PAIRINGS, limit.pairs))
            on_grid = lay_line(line, expression.grid)
            if len(expression) and len(on_grid.frequencies):
                yield GradingTask(number, line, expression, on_grid, list(rules_of(line, expression, plan)))


def grade_layout(
    limit: Limit, curves: SweepArrays, layout: Layout, is_named: Bools, comparison: Comparison, notes: LimitNotes
) -> list[GradedColumns]:
    """Graded curves of one layout.

    is_named: per record of the batch, is this the limit that it names. What the curves reach and what is missing goes
    into notes; where the export contradicts itself, into comparison.
    """
    plan = plan_for(limit, curves, layout)
    todo = list(tasks(limit, plan))
    checked = list(checks(plan)) if is_named[layout.records].any() else []
    with np.errstate(over="ignore", invalid="ignore"):  # absurd values overflow to infinity, and fail as they should
        for block in blocks(plan):
            for task in todo:
                task.run(block)
            for check in checked:
                check.run(block)
    for check in checked:
        check.report(layout, notes.numbers.get(check.parameter, -1), comparison)
    if not layout.duplicate:
        _note_coverage(limit, plan, todo, notes)
    return [_graded(task, layout, notes.texts, notes.pairings) for task in todo]


def _note_coverage(limit: Limit, plan: DerivationPlan, todo: list[GradingTask], notes: LimitNotes) -> None:
    """Notes what the records of a layout do not have, and the frequencies that they cover, by parameter."""
    records = plan.layout.records
    for number, (parameter, line) in enumerate(limit.lines.items()):
        mine = [task for task in todo if task.number == number]
        named = [(t.expression.ends.tolist(), t.expression.pairings.tolist()) for t in mine]
        there = {(end, PAIRINGS[code]) for ends, codes in named for end, code in zip(ends, codes, strict=True)}
        notes.missing[records, number] = notes.texts.code(what_is_missing(parameter, limit.pairs, there))
        if mine and line.role == "required":
            reaches = [task.on_grid.reach for task in mine]
            whole = all(reach.whole for reach in reaches)
            notes.cover(records, whole, max(r.first for r in reaches), min(r.last for r in reaches))


def plan_for(limit: Limit, curves: SweepArrays, layout: Layout) -> DerivationPlan:
    """A plan over the frequencies of all lines of a limit."""
    ranges = [line.range_mhz for line in limit.lines.values()]
    return DerivationPlan(curves, layout, min(r[0] for r in ranges), max(r[1] for r in ranges))


def blocks(plan: DerivationPlan) -> Iterator[RecordBlock]:
    """The records of a layout in runs."""
    slots = plan.layout.slots.values()
    widest = max((len(s) * len(plan.curves.axes[int(c)]) for s in slots for c in set(s.axes)), default=1)
    size = max(1, BLOCK_VALUES // max(1, widest))
    count = len(plan.layout.records)
    for first in range(0, count, size):
        yield RecordBlock(slice(first, min(first + size, count)))


def _graded(task: GradingTask, layout: Layout, texts: TextCodes, pairings: TextCodes) -> GradedColumns:
    laid, expression = task.on_grid, task.expression
    failed, undecided, missed = task.result("failed"), task.result("undecided"), np.concatenate(task.missed)
    verdict = np.where(failed, FAIL, np.where((undecided > 0) | (not laid.reach.whole), NOT_GRADED, PASS))
    at, value_at, worst_value = task.result("at"), task.result("value_at"), task.result("worst_value")
    # A fail rests on the line where it fails, a pass on all of the line that was looked at.
    confidence = np.where(failed, laid.confidences[at], laid.confidence)
    value_limit = np.where(value_at >= 0, laid.limits[value_at], np.nan)
    value_margin = (value_limit - worst_value) * (1.0 if task.line.sense == "max" else -1.0)

    def frequency(places: Ints) -> Reals:
        return np.where(places >= 0, laid.frequencies[places], np.nan)

    return GradedColumns.of(
        (len(layout.records), len(expression)),
        (frequency(at), task.result("value"), np.where(at >= 0, laid.limits[at], np.nan), task.result("margin")),
        (frequency(value_at), worst_value, value_limit, value_margin),
        record=layout.records[:, None],
        parameter=task.number,
        end=expression.ends,
        pairing=np.array([pairings.code(PAIRINGS[code]) for code in expression.pairings], np.int64),
        verdict=verdict,
        reason=_reasons(task, undecided, task.result("judged"), texts),
        confidence=confidence,
        provisional=(confidence == FROM_MEMORY) | (missed & ~failed),
        resolution=expression.resolution,
        derived=expression.derived,
        decides=task.line.decides,
        kinds=WORST_MARGIN + WORST_VALUE,
    )


def _reasons(task: GradingTask, undecided: Ints, judged: Ints, texts: TextCodes) -> Ints:
    """Codes of the texts that say what was left out or is missing, (records, curves)."""
    gap, points = task.on_grid.reach.gap, len(task.on_grid.frequencies)
    reasons = np.full(undecided.shape, texts.code(gap))
    for place in zip(*np.nonzero((undecided > 0) | (judged == 0)), strict=True):
        parts = [
            gap,
            undecided[place] and f"{undecided[place]} of {points} points are missing or known only as a bound",
            judged[place] == 0 and "every point is for information only",
        ]
        reasons[place] = texts.code("; ".join(part for part in parts if part))
    return reasons
