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
from archive.grading.expressions import CurveExpression, LayoutBlock, selected
from archive.grading.graded_columns import (
    DOUBT_COARSE,
    DOUBT_MEMORY,
    DOUBT_NEIGHBOURS,
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
from archive.grading.informational import ExemptionOnGrid, exemptions_of
from archive.grading.layouts import Layout
from archive.grading.line_on_grid import LineOnGrid, lay_line
from archive.grading.plan import DerivationPlan
from archive.grading.sweep_arrays import PAIRINGS, SweepArrays
from archive.limits import Limit, Line

BLOCK_VALUES = 400_000
"""Values of one parameter that a block holds at most, so that its arrays stay in the processor's cache."""


@dataclass
class GradingTask:
    """One parameter on one grid: what to compute, and the results by block, each (records, curves).

    number: place of the parameter in the limit's order. partial: the curves can prove a fail and never a pass.
    from_memory: the curve would fail without an exemption, a cap or a floor that is known only from memory.
    by_neighbours: whether it fails was decided by insertion loss at the points beside. may_be_exempt: number of points
    that miss the limit and may be for information only. left_out: number of points that are for information only, and
    the places of the first and the last of them.
    """

    number: int
    line: Line
    expression: CurveExpression
    on_grid: LineOnGrid
    exemptions: list[ExemptionOnGrid]
    partial: bool = False
    found: list[WorstCases] = field(default_factory=list)
    from_memory: list[Bools] = field(default_factory=list)
    by_neighbours: list[Bools] = field(default_factory=list)
    may_be_exempt: list[Ints] = field(default_factory=list)
    left_out: list[Ints] = field(default_factory=list)

    def run(self, block: LayoutBlock) -> None:
        """Grades a block."""
        values, limits = self.expression.at(block), self.on_grid.limits
        if self.on_grid.columns != slice(0, len(self.expression.grid.frequencies)):
            values = values.take((..., self.on_grid.columns))
        maximum = self.line.sense == "max"
        shape = values.low.shape[:2]
        informational: Bools | None = None
        exempt: Bools | None = None
        from_memory, by_neighbours = np.zeros(shape, np.bool_), np.zeros(shape, np.bool_)
        for exemption in self.exemptions:
            decided = exemption.at(block, shape[0])
            misses = None
            if exemption.exemption.confidence == "C" and decided.out.any():
                misses = _best_margin(values, limits, maximum) < -EXACT
                from_memory |= (decided.out & misses).any(axis=-1)
            if decided.by_neighbours is not None:
                misses = _best_margin(values, limits, maximum) < -EXACT if misses is None else misses
                by_neighbours |= (decided.by_neighbours & misses).any(axis=-1)
            informational = decided.out if informational is None else informational | decided.out
            exempt = decided.open if exempt is None else exempt | decided.open if decided.open is not None else exempt
        if len(bounded := self.on_grid.bounded):
            short = _best_margin(values.take((..., bounded)), self.on_grid.unbounded, maximum) < -EXACT
            from_memory |= (short if informational is None else short & ~informational[..., bounded]).any(axis=-1)
        self.found.append(worst(values, limits, maximum, informational, exempt))
        self.from_memory.append(from_memory)
        self.by_neighbours.append(by_neighbours)
        self.left_out.append(_extent(informational, shape))
        if exempt is None:
            self.may_be_exempt.append(np.zeros(shape, np.int64))
        else:
            counted = exempt if informational is None else exempt & ~informational
            self.may_be_exempt.append((counted & (_best_margin(values, limits, maximum) < -EXACT)).sum(axis=-1))

    def result(self, name: str) -> Any:
        """A field of the worst cases of all blocks, (records, curves)."""
        return np.concatenate([getattr(part, name) for part in self.found])


def _best_margin(values: Values, limits: Reals, maximum: bool) -> Reals:
    return limits - values.low if maximum else values.high - limits


def _extent(flags: Bools | None, shape: tuple[int, ...]) -> Ints:
    """Number of flagged points, and the places of the first and the last (-1: none): (3, records, curves)."""
    if flags is None or not flags.any():
        return np.broadcast_to(np.array([0, -1, -1]).reshape(3, 1, 1), (3, *shape))
    last = int(np.flatnonzero(flags.any(axis=(0, 1)))[-1]) + 1
    some = flags[..., :last]
    count = some.sum(axis=-1)
    ends = np.stack([some.argmax(axis=-1), last - 1 - some[..., ::-1].argmax(axis=-1)])
    return np.concatenate([count[None], np.where(count > 0, ends, -1)])


def tasks(limit: Limit, plan: DerivationPlan) -> Iterator[GradingTask]:
    """What there is to grade: every line of the limit, on every grid that its parameter has."""
    for number, (parameter, line) in enumerate(limit.lines.items()):
        for partial, found in ((False, plan.curves_for(parameter)), (True, plan.partial(parameter))):
            for expression in found:
                expression = selected(expression, kept(expression.pairings, PAIRINGS, limit.pairs))
                on_grid = lay_line(line, expression.grid)
                if len(expression) and len(on_grid.frequencies):
                    exemptions = list(exemptions_of(line, expression, on_grid.frequencies, plan))
                    yield GradingTask(number, line, expression, on_grid, exemptions, partial)


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
        mine = [task for task in todo if task.number == number and not task.partial]
        named = [(t.expression.ends.tolist(), t.expression.pairings.tolist()) for t in mine]
        there = {(end, PAIRINGS[code]) for ends, codes in named for end, code in zip(ends, codes, strict=True)}
        notes.missing[records, number] = notes.texts.code(what_is_missing(parameter, limit.pairs, there))
        if not mine and any(task.number == number for task in todo):
            for name in {parameter, f"{parameter}_average"} & set(notes.numbers):
                notes.unsummed[records, notes.numbers[name]] = True
        if mine and line.role == "required":
            reaches = [task.on_grid.reach for task in mine]
            whole = all(reach.whole for reach in reaches)
            notes.cover(records, whole, max(r.first for r in reaches), min(r.last for r in reaches))


def plan_for(limit: Limit, curves: SweepArrays, layout: Layout) -> DerivationPlan:
    """A plan over the frequencies of all lines of a limit."""
    ranges = [line.range_mhz for line in limit.lines.values()]
    return DerivationPlan(curves, layout, min(r[0] for r in ranges), max(r[1] for r in ranges))


def blocks(plan: DerivationPlan) -> Iterator[LayoutBlock]:
    """The records of a layout in runs."""
    slots = plan.layout.slots.values()
    widest = max((len(s) * len(plan.curves.axes[int(c)]) for s in slots for c in set(s.axes)), default=1)
    size = max(1, BLOCK_VALUES // max(1, widest))
    count = len(plan.layout.records)
    for first in range(0, count, size):
        yield LayoutBlock(slice(first, min(first + size, count)))


def _graded(task: GradingTask, layout: Layout, texts: TextCodes, pairings: TextCodes) -> GradedColumns:
    laid, expression = task.on_grid, task.expression
    failed, undecided = task.result("failed"), task.result("undecided")
    verdict = np.where(failed, FAIL, np.where((undecided > 0) | (not laid.reach.whole), NOT_GRADED, PASS))
    at, value_at, worst_value = task.result("at"), task.result("value_at"), task.result("worst_value")
    # A fail rests on the line where it fails, a pass on all of the line that was looked at.
    confidence = np.where(failed, laid.confidences[at], laid.confidence)
    doubts = np.where((confidence == FROM_MEMORY) | (np.concatenate(task.from_memory) & ~failed), DOUBT_MEMORY, 0)
    doubts |= np.where(~failed & bool(laid.reach.coarse), DOUBT_COARSE, 0)
    doubts |= np.where(~failed & np.concatenate(task.by_neighbours), DOUBT_NEIGHBOURS, 0)
    value_limit = np.where(value_at >= 0, laid.limits[value_at], np.nan)
    value_margin = (value_limit - worst_value) * (1.0 if task.line.sense == "max" else -1.0)
    left_out = np.concatenate(task.left_out, axis=1)

    def frequency(places: Ints) -> Reals:
        return np.where(places >= 0, laid.frequencies[places], np.nan)

    graded = GradedColumns.of(
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
        doubts=doubts,
        resolution=expression.resolution,
        derived=expression.derived,
        decides=task.line.decides,
        kinds=WORST_MARGIN + WORST_VALUE,
        left_out=left_out[0],
        left_out_from=frequency(left_out[1]),
        left_out_to=frequency(left_out[2]),
    )
    return graded.take(graded.verdict == FAIL) if task.partial else graded


def _reasons(task: GradingTask, undecided: Ints, judged: Ints, texts: TextCodes) -> Ints:
    """Codes of the texts that say what was left out or is missing, (records, curves)."""
    reach, points = task.on_grid.reach, len(task.on_grid.frequencies)
    always = "sum of some of the disturbers" if task.partial else reach.gap or reach.coarse
    reasons = np.full(undecided.shape, texts.code(always))
    maybe, by_neighbours = np.concatenate(task.may_be_exempt), np.concatenate(task.by_neighbours)
    names = " and ".join(dict.fromkeys(exemption.name for exemption in task.exemptions))
    for place in zip(*np.nonzero((undecided > 0) | (judged == 0) | by_neighbours), strict=True):
        unknown = undecided[place] - maybe[place]
        parts = [
            always,
            unknown and f"{unknown} of {points} points are missing or known only as a bound",
            maybe[place]
            and f"{maybe[place]} of {points} points may be for information only: {names} is not known there",
            judged[place] == 0 and "every point is for information only",
            by_neighbours[place] and f"{names} interpolated between the points beside",
        ]
        reasons[place] = texts.code("; ".join(part for part in parts if part))
    return reasons
