"""Which readings a limit needs that a record does not have."""

from __future__ import annotations

import numpy as np

from archive import vocabulary
from archive.grading.grade_scalars import READ_BY_LINE
from archive.grading.graded_columns import GradedColumns, LimitNotes
from archive.limits import Limit

_WHAT = {"pair": ("pairs", 4), "combination": ("combinations", 6), "pairset": ("pairs of pairs", 2), "link": ("", 1)}


def note_readings(limit: Limit, graded: list[GradedColumns], notes: LimitNotes) -> None:
    """Notes in notes.missing, for what is graded from readings, how much of it is there.

    A reading of the whole link stands for all its pairs. What curves already cover stays covered.
    """
    records = notes.missing.shape[0]
    joined = (
        [np.concatenate([getattr(p, name) for p in graded]) for name in ("record", "parameter", "pairing")]
        if graded
        else []
    )
    for number, name in enumerate(notes.names):
        scalar = limit.scalars.get(name)
        per = scalar.per if scalar is not None else vocabulary.parameter(name).per
        if (scalar is None and name not in READ_BY_LINE) or per not in _WHAT or not joined:
            continue
        here = joined[1] == number
        at = np.unique(np.stack([joined[0][here], joined[2][here]]), axis=1)
        count = np.bincount(at[0], minlength=records)
        whole = np.zeros(records, np.bool_)
        whole[at[0][at[1] < 0]] = True
        what, needed = _WHAT[per]
        if limit.pairs and per == "pair":
            needed = len(limit.pairs)
        open_ = notes.missing[:, number] >= 0
        notes.missing[open_ & (whole | (count >= needed)), number] = -1
        for few in np.unique(count[open_ & ~whole & (count > 0) & (count < needed)]).tolist():
            text = notes.texts.code(f"covers {few} of {needed} {what}")
            notes.missing[open_ & ~whole & (count == few), number] = text
