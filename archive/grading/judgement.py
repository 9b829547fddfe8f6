"""From graded curves to verdicts of parameters, and from those to the verdict of a record."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from archive import vocabulary
from archive.grading.arithmetic import Bools, Ints, Reals
from archive.grading.coverage import rules
from archive.grading.graded_columns import (
    FAIL,
    NOT_GRADED,
    PASS,
    WHERE_MEASURED,
    GradedColumns,
    LimitNotes,
)


@dataclass(frozen=True)
class ParameterVerdicts:
    """Verdicts by parameter, each (records, parameters).

    there: something of it was graded. reason: code of a text. margin: its smallest (NaN: none). confidence: code of the
    least confident limit on which the verdict rests.
    """

    there: Bools
    verdict: Ints
    reason: Ints
    margin: Reals
    provisional: Bools
    confidence: Ints


def only_warn(graded: GradedColumns, notes: LimitNotes) -> None:
    """Curves beyond an advisory line are not graded, and say so: such a line never fails."""
    warned = notes.advisory[graded.parameter] & (graded.verdict == FAIL)
    graded.verdict[warned] = NOT_GRADED
    graded.reason[warned] = notes.texts.code("beyond an advisory line, which warns and does not fail")


def by_parameter(graded: GradedColumns, notes: LimitNotes) -> ParameterVerdicts:
    """Verdicts by parameter: fail where any curve fails; pass where all that is needed passes."""
    shape = notes.missing.shape
    there = np.zeros(shape, np.bool_)
    provisional = np.zeros(shape, np.bool_)
    verdict, reason = np.full(shape, NOT_GRADED), notes.missing.copy()
    margin, confidence = np.full(shape, np.nan), np.zeros(shape, np.int64)
    if len(graded):
        key = graded.record * shape[1] + graded.parameter
        starts = np.flatnonzero(np.diff(key, prepend=-1))
        at = graded.record[starts], graded.parameter[starts]
        failing = graded.verdict == FAIL
        fails = np.logical_or.reduceat(failing, starts)
        open_ = np.logical_or.reduceat(graded.verdict == NOT_GRADED, starts)
        there[at] = True
        margin[at] = np.fmin.reduceat(graded.margin, starts)
        # A fail is sure as soon as one failing curve rests on a sure line; a pass only where all lines are sure.
        unsure_fail = np.logical_and.reduceat(graded.provisional | ~failing, starts)
        provisional[at] = np.where(fails, unsure_fail, np.logical_or.reduceat(graded.provisional, starts))
        confidence[at] = np.where(
            fails,
            np.minimum.reduceat(np.where(failing, graded.confidence, 9), starts),
            np.maximum.reduceat(graded.confidence, starts),
        )
        by_curves = _reasons_of_curves(graded.reason, starts, notes)
        missing = notes.missing[at]
        reason[at] = np.where(missing >= 0, missing, by_curves)
        whole = (missing < 0) & ~open_
        verdict[at] = np.where(fails, FAIL, np.where(whole, PASS, NOT_GRADED))
    return ParameterVerdicts(there, verdict, reason, margin, provisional, confidence)


def _reasons_of_curves(reason: Ints, starts: Ints, notes: LimitNotes) -> Ints:
    """Reasons of the curves of each parameter: equal ones once, different ones in alphabetical order."""
    most = np.maximum.reduceat(reason, starts)
    least = np.minimum.reduceat(np.where(reason >= 0, reason, most.max(initial=0)), starts)
    out = most.copy()
    bounds = np.append(starts, len(reason))
    for i in np.flatnonzero((most >= 0) & (least != most)):
        here = reason[bounds[i] : bounds[i + 1]]
        texts = sorted({notes.texts.listed[code] for code in here[here >= 0].tolist()})
        out[i] = notes.texts.code("; ".join(texts if len(texts) < 3 else [*texts[:2], "and more"]))
    return out


@dataclass(frozen=True)
class RecordVerdicts:
    """Verdicts by record, each (records,). worst: place of the worst curve in what was graded, -1 for none."""

    verdict: Ints
    provisional: Bools
    within: Ints
    worst: Ints


def by_record(graded: GradedColumns, parameters: ParameterVerdicts, notes: LimitNotes, broken: Bools) -> RecordVerdicts:
    """Verdicts by record. broken: the wire map is wrong.

    within: 1 where the verdict hangs on margins within the resolution of the export, 0 where not, -1 not known.
    """
    deciding, required = notes.required | (notes.roles == WHERE_MEASURED), notes.required
    fails = ((parameters.verdict == FAIL) & deciding).any(axis=1)
    whole = (parameters.verdict[:, required] == PASS).all(axis=1) & bool(required.any())
    verdict = np.where(fails | broken, FAIL, np.where(whole, PASS, NOT_GRADED))
    failing = (parameters.verdict == FAIL) & deciding
    some = parameters.there & deciding
    provisional = np.where(
        fails, (parameters.provisional | ~failing).all(axis=1), (parameters.provisional & some).any(axis=1)
    )
    provisional &= ~broken
    worst = _worst(graded, notes, fails)
    return RecordVerdicts(verdict, provisional, _within(graded, worst, fails, len(verdict)), worst)


def _worst(graded: GradedColumns, notes: LimitNotes, fails: Bools) -> Ints:
    """The deciding curve with the smallest margin: of a record that fails, among those that fail; decibels first."""
    out = np.full(len(fails), -1)
    units = np.array([vocabulary.parameter(n).unit != rules()["worst"]["unit"] for n in notes.names] or [False])
    some = np.flatnonzero(graded.decides & ~np.isnan(graded.margin))
    if len(some):
        record = graded.record[some]
        passing = (graded.verdict[some] != FAIL) & fails[record]
        order = np.lexsort((graded.margin[some], units[graded.parameter[some]], passing, record))
        found, first = np.unique(record[order], return_index=True)
        out[found] = some[order[first]]
    return out


def _within(graded: GradedColumns, worst: Ints, fails: Bools, records: int) -> Ints:
    out = np.full(records, -1)
    there = np.flatnonzero(worst >= 0)
    with np.errstate(invalid="ignore"):
        close = np.abs(graded.margin) < graded.resolution
    out[there] = np.where(np.isnan(graded.resolution[worst[there]]), -1, close[worst[there]])
    # A record fails beyond the resolution as soon as one curve does.
    beyond = np.zeros(records, np.bool_)
    far = (graded.verdict == FAIL) & graded.decides & ~close & ~np.isnan(graded.resolution)
    beyond[graded.record[far]] = True
    out[fails & beyond] = 0
    return out


def reasons(parameters: ParameterVerdicts, notes: LimitNotes, empty: Ints) -> list[str]:
    """Per record, what is not graded and why: parameters that lack the same thing are named together.

    empty: number of a text for records of which nothing could be graded, -1 for others.
    """
    stated = (parameters.verdict == NOT_GRADED) | (parameters.reason >= 0)
    stated &= notes.required | ((notes.roles == WHERE_MEASURED) & parameters.there)
    codes = np.where(stated, parameters.reason, -1)
    key = np.ascontiguousarray(np.column_stack([codes, empty]).astype(np.int64))
    _, first, pattern = np.unique(key.view(f"V{key.shape[1] * 8}").ravel(), return_index=True, return_inverse=True)
    texts = [_reason(key[at].tolist(), notes) for at in first]
    return [texts[i] for i in pattern.ravel()]


def _reason(codes: list[int], notes: LimitNotes) -> str:
    *by_name, empty = codes
    if empty >= 0:
        return notes.texts.listed[empty]
    found: dict[str, list[str]] = {}
    for name, code in zip(notes.names, by_name, strict=True):
        if code >= 0:
            found.setdefault(notes.texts.listed[code], []).append(name)
    swept = {n for n, required in zip(notes.names, notes.required, strict=True) if required} - _SCALAR
    parts = []
    for text, names in found.items():
        # What all swept parameters lack is said once, without listing them.
        all_of_them = len(found) == 1 and swept <= set(names)
        listed = ", ".join(vocabulary.parameter(name).name for name in names)
        parts.append(text if all_of_them else f"{listed}: {text}")
    return "; ".join(parts)


_SCALAR = frozenset({"propagation_delay", "delay_skew", "length", "loop_resistance"})
