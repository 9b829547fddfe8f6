"""Graded curves and scalars as columns, before they become rows of the grades table."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field, fields
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from archive.grading.arithmetic import Bools, Ints, Reals
from archive.limits import Limit

REQUIRED, WHERE_MEASURED, ADVISORY = "required", "where measured", "advisory"
"""Roles of the parameters of a limit that are judged; those for information are only shown."""

PASS, FAIL, NOT_GRADED = 0, 1, 2
NOT_THERE = "not there"
"""Reason for a parameter of which nothing was measured."""
VERDICTS = ("pass", "fail", "not graded")
CONFIDENCES = ("", "A", "B", "C")
"""Confidence letters of limits by code, the surest first."""
FROM_MEMORY = CONFIDENCES.index("C")

DOUBT_MEMORY, DOUBT_COARSE, DOUBT_NEIGHBOURS = 1, 2, 4
"""Why a verdict is provisional, as flags that are added."""
REMEMBERED = "limit from memory, to be verified against the standard"
DOUBTS = {
    DOUBT_MEMORY: REMEMBERED,
    DOUBT_COARSE: "steps wider than field-test standards allow",
    DOUBT_NEIGHBOURS: "insertion loss interpolated where an exemption depends on it",
}
WORST_MARGIN, WORST_VALUE = 1, 2
UNKNOWN = -1
"""In a column of flags (1 true, 0 false): null."""

Point = Sequence[ArrayLike]
"""Frequency (MHz), value, limit and margin of points; NaN where there is none."""


def confidence_codes(letters: ArrayLike) -> Ints:
    """Codes of confidence letters."""
    return np.searchsorted(np.array(CONFIDENCES), letters)


@dataclass
class TextCodes:
    """Texts by code, each once; -1 is none."""

    listed: list[str] = field(default_factory=list)
    codes: dict[str, int] = field(default_factory=dict)

    def code(self, text: str | None) -> int:
        """Code of a text; -1 for none and for the empty text."""
        if not text:
            return -1
        if text not in self.codes:
            self.codes[text] = len(self.listed)
            self.listed.append(text)
        return self.codes[text]


@dataclass
class GradedColumns:
    """Graded curves or scalars, each array (n,).

    record: place in the batch. parameter: place in the limit's order. end, pairing: codes (pairing: of a text).
    frequency, value, limit, margin: of the worst margin; the same with value_: of the worst value (NaN: none).
    verdict: PASS, FAIL, NOT_GRADED. reason: code of a text. confidence: of the line on which the verdict rests.
    doubts: why it is provisional (0: it is not). resolution: how far rounding in the export can move the margin (NaN:
    not known). derived: recomputed from others. decides: the limit needs it for a pass, or it was measured where
    the limit wants it graded; informational ones never decide. kinds: WORST_MARGIN, WORST_VALUE, or both added.
    left_out: number of points that are for information only; left_out_from, left_out_to: their frequencies.
    """

    record: Ints
    parameter: Ints
    end: Ints
    pairing: Ints
    frequency: Reals
    value: Reals
    limit: Reals
    margin: Reals
    value_frequency: Reals
    value_value: Reals
    value_limit: Reals
    value_margin: Reals
    verdict: Ints
    reason: Ints
    confidence: Ints
    doubts: Ints
    resolution: Reals
    derived: Bools
    decides: Bools
    kinds: Ints
    left_out: Ints
    left_out_from: Reals
    left_out_to: Reals

    def __len__(self) -> int:
        return len(self.record)

    @classmethod
    def of(cls, shape: tuple[int, ...], worst_margin: Point, worst_value: Point, **columns: ArrayLike) -> GradedColumns:
        """Columns from arrays that can be broadcast to a shape; the points by kind, everything else by name."""
        listed = {
            **dict(zip(("frequency", "value", "limit", "margin"), worst_margin, strict=True)),
            **dict(zip(("value_frequency", "value_value", "value_limit", "value_margin"), worst_value, strict=True)),
            **columns,
        }
        listed = {"left_out": 0, "left_out_from": np.nan, "left_out_to": np.nan, **listed}
        size = math.prod(shape)
        return cls(**{name: _flat(column, shape, size) for name, column in listed.items()})

    def decisive(self, name: str) -> Reals:
        """frequency, value, limit or margin of the deciding point: the worst value where a fail rests on it alone."""
        by_value = np.isnan(self.margin) & (self.verdict == FAIL)
        column: Reals = np.where(by_value, getattr(self, f"value_{name}"), getattr(self, name))
        return column

    def take(self, chosen: Ints | Bools) -> GradedColumns:
        """Some of them."""
        return GradedColumns(**{f.name: getattr(self, f.name)[chosen] for f in fields(self)})

    @classmethod
    def joined(cls, pieces: list[GradedColumns], rank: Ints) -> GradedColumns:
        """All of them in one, ordered by record, parameter, end, pairing; ties keep their order.

        rank: place of each pairing in the order (and -1, for none, at the end).
        """
        if not pieces:
            return cls(**{f.name: np.zeros(0, _KINDS.get(f.name, np.float64)) for f in fields(cls)})
        columns = {f.name: np.concatenate([getattr(p, f.name) for p in pieces]) for f in fields(cls)}
        order = np.lexsort((rank[columns["pairing"]], columns["end"], columns["parameter"], columns["record"]))
        return cls(**columns).take(order)


def _flat(column: ArrayLike, shape: tuple[int, ...], size: int) -> Any:
    values = np.asarray(column)
    if values.ndim == 0:
        return np.full(size, values)
    return (values if values.shape == shape else np.broadcast_to(values, shape)).reshape(size)


_KINDS = {
    **dict.fromkeys(("record", "parameter", "end", "pairing", "verdict", "reason"), np.int64),
    **dict.fromkeys(("confidence", "doubts", "kinds", "left_out"), np.int64),
    **dict.fromkeys(("derived", "decides"), np.bool_),
}


class LimitNotes:
    """What is gathered while the records of a batch are graded against one limit.

    names: parameters in the order in which grades list them: lines, then scalars that have no line. numbers: place of
    each in it. roles: by parameter; required: which of them a pass needs; advisory: which only warn. texts, pairings:
    by code. missing: (records, parameters), code of the text that says what is not there, -1 where all is. unsummed:
    (records, parameters), alien disturbers are there that cannot be summed.
    """

    def __init__(self, records: int, limit: Limit, pairings: TextCodes) -> None:
        self.names = list({**limit.lines, **limit.scalars})
        self.roles = np.array([(limit.lines.get(name) or limit.scalars[name]).role for name in self.names], np.str_)
        self.required: Bools = self.roles == REQUIRED
        self.advisory: Bools = self.roles == ADVISORY
        self.numbers = {name: i for i, name in enumerate(self.names)}
        self.texts, self.pairings = TextCodes(), pairings
        self.missing: Ints = np.full((records, len(self.names)), self.texts.code(NOT_THERE))
        self.unsummed: Bools = np.zeros(self.missing.shape, np.bool_)
        self._short = np.full((records, 2), np.nan)
        self._whole = np.full((records, 2), np.nan)

    def cover(self, records: Ints, whole: bool, first: float, last: float) -> None:
        """Notes the frequencies that one parameter covers; whole: all that its line needs."""
        if whole:
            self._whole[records, 0] = np.fmin(self._whole[records, 0], first)
            self._whole[records, 1] = np.fmax(self._whole[records, 1], last)
        else:
            self._short[records, 0] = np.fmax(self._short[records, 0], first)
            self._short[records, 1] = np.fmin(self._short[records, 1], last)

    @property
    def covered(self) -> Reals:
        """(records, 2), MHz: what every parameter covers of the range it needs; NaN where nothing."""
        low = np.fmax(self._short[:, 0], self._whole[:, 0])
        high = np.fmin(self._short[:, 1], self._whole[:, 1])
        return np.stack([low, high], axis=1)


def rank_of(pairings: TextCodes, known: tuple[str | None, ...]) -> Ints:
    """Order of pairings that does not depend on the order in which they came: the known ones, then by text; none last
    in the array, first in the order."""
    fixed = {name: i for i, name in enumerate(known)}
    ordered = sorted(pairings.listed, key=lambda name: (fixed.get(name, len(known)), name))
    place = {name: i for i, name in enumerate(ordered)}
    return np.array([*(place[name] for name in pairings.listed), -1], np.int64)
