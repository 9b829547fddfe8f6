"""Uncertainty of graded values: as a file of the user's gives it, else as the record itself states it."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import product

import numpy as np

from archive.grading.accuracy import Accuracy
from archive.grading.arithmetic import Bools, Ints, Reals
from archive.grading.graded_columns import GradedColumns, LimitNotes
from archive.grading.grading_input import GradingInput
from archive.grading.reported import ReportedPoints
from archive.limits import Limit

_HIGHEST = 9e12
"""MHz; higher ones are no frequencies, and do not fit whole numbers of Hz."""

ANY_END, ANY_PAIRING = 2, -1
"""Codes of a row that is stated for no end or pairing of its own."""


@dataclass(frozen=True)
class Uncertainty:
    """What is known of graded curves and numbers, each array (n,).

    width: expanded uncertainty, or accuracy, of the value at the worst margin, in the unit of the parameter; NaN where
    nobody states it, or where it decides nothing. factor: k of that width; NaN where it is not stated. by_record: it
    is the record that states it, not the user's file.
    """

    width: Reals
    factor: Reals
    by_record: Bools

    @property
    def known(self) -> Bools:
        """Where something is known, (n,)."""
        return ~np.isnan(self.width)


def uncertainty(
    graded: GradedColumns, notes: LimitNotes, data: GradingInput, limit: Limit, accuracy: Accuracy | None
) -> Uncertainty:
    """What is known of the uncertainty of graded rows. The user's file counts before what a record states."""
    width, factor, reported = np.full(len(graded), np.nan), np.full(len(graded), np.nan), data.reported
    if accuracy is not None:
        mine = accuracy.speaks_of(data.batch)[graded.record]
        width[mine] = accuracy.at(graded.parameter, notes.names, graded.frequency)[mine]
        factor[mine] = np.nan if accuracy.coverage_factor is None else accuracy.coverage_factor
    stated = _stated(reported.numbers(limit, notes.numbers), graded, reported)
    by_record = np.isnan(width) & ~np.isnan(stated)
    width = np.where(by_record, stated, width)
    factor = np.where(by_record, reported.coverage[graded.record], factor)
    matters = graded.decides & ~np.isnan(graded.margin)
    return Uncertainty(np.where(matters, width, np.nan), factor, by_record & matters)


def _stated(place: Ints, graded: GradedColumns, reported: ReportedPoints) -> Reals:
    """Uncertainties that records state, (n,); NaN where none is for that value. place: of each row of reported, the
    place of its parameter in the limit.

    A row of reported speaks of its parameter; of one end, pairing and frequency where it names them. Of several the
    largest counts.
    """
    out = np.full(len(graded), np.nan)
    rows = np.flatnonzero((place >= 0) & (reported.record >= 0) & ~np.isnan(reported.uncertainty))
    if not len(rows) or not len(out):
        return out
    columns = np.stack([reported.record, place, reported.end, reported.pairing, _micro(reported.frequency)])[:, rows]
    wanted = np.stack([graded.record, graded.parameter, graded.end, graded.pairing, _micro(graded.frequency)])
    open_to_all = np.array([0, 0, ANY_END, ANY_PAIRING, -1])[:, None]
    for pattern in product((False, True), repeat=3):
        loose = np.array([False, False, *pattern])[:, None]
        mine = ((columns == open_to_all)[2:] == loose[2:]).all(axis=0)
        if not mine.any():
            continue
        both = np.concatenate([columns[:, mine], np.where(loose, open_to_all, wanted)], axis=1)
        group = np.unique(both, axis=1, return_inverse=True)[1].reshape(-1)
        largest = np.full(group.max() + 1, np.nan)
        count = int(mine.sum())
        np.fmax.at(largest, group[:count], np.abs(reported.uncertainty[rows[mine]]))
        out = np.fmax(out, largest[group[count:]])
    return out


def _micro(frequency: Reals) -> Ints:
    """Frequencies (MHz) as whole Hz, so that equal ones are equal; -1 where none is stated."""
    whole = np.rint(np.clip(np.nan_to_num(frequency), 0.0, _HIGHEST) * 1e6)
    return np.where(np.isnan(frequency), -1, whole).astype(np.int64)
