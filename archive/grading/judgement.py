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
    NOT_THERE,
    PASS,
    WHERE_MEASURED,
    GradedColumns,
    LimitNotes,
)


@dataclass(frozen=True)
class ParameterVerdicts:
    """Verdicts by parameter, each (records, parameters).

    there: something of it was graded. reason: code of a text. margin: its smallest (NaN: none). doubts: why it is
    provisional, as flags. confidence: code of the least confident limit on which the verdict rests. left_out: number of
    points that are for information only; left_out_from, left_out_to: their frequencies, MHz.
    """

    there: Bools
    verdict: Ints
    reason: Ints
    margin: Reals
    doubts: Ints
    confidence: Ints
    left_out: Ints
    left_out_from: Reals
    left_out_to: Reals


def only_warn(graded: GradedColumns, notes: LimitNotes) -> None:
    """Curves beyond an advisory line are not graded, and say so: such a line never fails."""
    warned = notes.advisory[graded.parameter] & (graded.verdict == FAIL)
    graded.verdict[warned] = NOT_GRADED
    graded.reason[warned] = notes.texts.code("beyond an advisory line, which warns and does not fail")


def by_parameter(graded: GradedColumns, notes: LimitNotes) -> ParameterVerdicts:
    """Verdicts by parameter: fail where any curve fails; pass where all that is needed passes."""
    shape = notes.missing.shape
    there = notes.unsummed.copy()
    verdict, reason = np.full(shape, NOT_GRADED), notes.missing.copy()
    reason[there] = notes.texts.code("cannot be summed: disturbers on different frequencies")
    doubts, confidence, left_out = (np.zeros(shape, np.int64) for _ in range(3))
    margin, left_out_from, left_out_to = (np.full(shape, np.nan) for _ in range(3))
    if len(graded):
        key = graded.record * shape[1] + graded.parameter
        starts = np.flatnonzero(np.diff(key, prepend=-1))
        at = graded.record[starts], graded.parameter[starts]
        failing = graded.verdict == FAIL
        fails = np.logical_or.reduceat(failing, starts)
        open_ = np.logical_or.reduceat(graded.verdict == NOT_GRADED, starts)
        there[at] = True
        margin[at] = np.fmin.reduceat(graded.decisive("margin"), starts)
        left_out[at] = np.add.reduceat(graded.left_out, starts)
        left_out_from[at] = np.fmin.reduceat(graded.left_out_from, starts)
        left_out_to[at] = np.fmax.reduceat(graded.left_out_to, starts)
        # A fail is sure as soon as one failing curve is; a pass only where all are.
        sure_fail = np.logical_or.reduceat(failing & (graded.doubts == 0), starts)
        of_fails = np.bitwise_or.reduceat(np.where(failing, graded.doubts, 0), starts)
        of_all = np.bitwise_or.reduceat(graded.doubts, starts)
        doubts[at] = np.where(fails, np.where(sure_fail, 0, of_fails), of_all)
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
    return ParameterVerdicts(there, verdict, reason, margin, doubts, confidence, left_out, left_out_from, left_out_to)


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
    """Verdicts by record, each (records,).

    doubts: why it is provisional, as flags. within: 1 where the verdict hangs on margins within the resolution of the
    export, 0 where not, -1 not known. worst, leading: places of the worst curve and of the one with the leading margin
    in what was graded, -1 for none.
    """

    verdict: Ints
    doubts: Ints
    within: Ints
    worst: Ints
    leading: Ints


def by_record(graded: GradedColumns, parameters: ParameterVerdicts, notes: LimitNotes, broken: Bools) -> RecordVerdicts:
    """Verdicts by record. broken: the wire map is wrong."""
    deciding, required = notes.required | (notes.roles == WHERE_MEASURED), notes.required
    fails = ((parameters.verdict == FAIL) & deciding).any(axis=1)
    whole = (parameters.verdict[:, required] == PASS).all(axis=1) & bool(required.any())
    verdict = np.where(fails | broken, FAIL, np.where(whole, PASS, NOT_GRADED))
    failing = (parameters.verdict == FAIL) & deciding
    some = parameters.there & deciding
    sure_fail = (failing & (parameters.doubts == 0)).any(axis=1)
    of_fails = np.bitwise_or.reduce(np.where(failing, parameters.doubts, 0), axis=1)
    of_all = np.bitwise_or.reduce(np.where(some, parameters.doubts, 0), axis=1)
    doubts = np.where(broken | (fails & sure_fail), 0, np.where(fails, of_fails, of_all))
    parameter_units = [vocabulary.parameter(name).unit for name in notes.names]
    decibels = np.array([unit == rules()["worst"]["unit"] for unit in parameter_units] or [False])
    leads = np.isin(notes.names or [""], rules()["leading"]["parameters"])
    worst, leading = (
        smallest_margin(graded, fails, np.isin(graded.parameter, np.flatnonzero(chosen)), decibels)
        for chosen in (np.ones_like(leads), leads)
    )
    return RecordVerdicts(verdict, doubts, _within(graded, worst, fails, len(verdict)), worst, leading)


def smallest_margin(graded: GradedColumns, fails: Bools, chosen: Bools, decibels: Bools) -> Ints:
    """Per record the place of the deciding curve with the smallest margin, -1 for none.

    fails: per record; of one that fails, the worst of all failing curves. chosen: per curve, those to look at in a
    record that does not. decibels: per parameter; margins in decibels come first.
    """
    out = np.full(len(fails), -1)
    margin, failing = graded.decisive("margin"), graded.verdict == FAIL
    looked_at = np.where(fails[graded.record], failing, chosen)
    some = np.flatnonzero(graded.decides & ~np.isnan(margin) & looked_at)
    order = some[np.lexsort((margin[some], ~decibels[graded.parameter[some]], graded.record[some]))]
    found, first = np.unique(graded.record[order], return_index=True)
    out[found] = order[first]
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
        # What all swept parameters lack is said once, without listing them; what is not there is always named.
        all_of_them = len(found) == 1 and swept <= set(names) and text != NOT_THERE
        listed = ", ".join(vocabulary.parameter(name).name for name in names)
        parts.append(text if all_of_them else f"{listed}: {text}")
    return "; ".join(parts)


_SCALAR = frozenset({"propagation_delay", "delay_skew", "length", "loop_resistance"})
