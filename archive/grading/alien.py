"""Alien crosstalk: power sums over any number of disturbing links, added to the curves of the export."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np

from archive import vocabulary
from archive.grading.arithmetic import Bools, Ints, Reals, to_decibels, to_power
from archive.grading.sweep_arrays import PAIRINGS, RECOMPUTED, SweepArrays

PARTS = {"anext": "ps_anext", "afext": "ps_afext", "aacr_f": "ps_aacr_f"}
"""Pair-to-pair alien parameters, and the name of their power sum."""


def with_power_sums(sweeps: SweepArrays, pairing_names: list[str], pairing_text: Ints) -> SweepArrays:
    """The sweeps with PS ANEXT, PS AFEXT and PS AACR-F recomputed wherever single disturbers are there.

    pairing_names, pairing_text: texts of the pairings and the text of each curve (-1: none). A power sum runs over
    every disturbing pair of every disturbing link that the record has for one end and one disturbed pair; how many
    there should be, no record says. Disturbers of one sum must have the same axis.
    """
    names = [name.rsplit("/", 1)[-1] for name in pairing_names]  # the disturbed pair is the last that is named
    codes = [PAIRINGS.index(name) if name in vocabulary.PAIRS else -1 for name in names]
    victim = np.array([*codes, -1], np.int64)[pairing_text]
    usable = sweeps.given & (victim >= 0)
    for part, whole in PARTS.items():
        if part in sweeps.parameters:
            rows = np.flatnonzero(usable & (sweeps.parameter[: len(usable)] == sweeps.parameters.index(part)))
            sweeps = _summed(sweeps, rows, victim, whole + RECOMPUTED)
    return sweeps


def _summed(sweeps: SweepArrays, rows: Ints, victim: Ints, name: str) -> SweepArrays:
    """The sweeps with the power sums of some rows. victim: code of the disturbed pair, by row."""
    order = rows[np.lexsort((victim[rows], sweeps.end[rows], sweeps.record[rows]))]
    slot = (sweeps.record[order] * 3 + sweeps.end[order]) * len(PAIRINGS) + victim[order]
    _, first = np.unique(slot, return_index=True)
    added: list[tuple[int, Reals, Bools, float]] = []
    for members in np.split(order, first[1:]) if len(order) else []:
        if len(set(sweeps.axis[members].tolist())) > 1:
            continue
        values = sweeps.gather(members, 0, int(sweeps.length[members[0]]))
        low, high = (to_decibels(to_power(bound).sum(axis=0)) for bound in (values.low, values.high))
        known = np.isfinite(low)
        value, above = np.where(known, low, np.nan), known & (high > low)
        added.append((int(members[0]), value, above, float(sweeps.step[members].max())))
    return _appended(sweeps, added, victim, name) if added else sweeps


def _appended(
    sweeps: SweepArrays, added: list[tuple[int, Reals, Bools, float]], victim: Ints, name: str
) -> SweepArrays:
    """The sweeps with new curves at the end; each takes record, end, origin and axis from a curve it is made of."""
    models, values, above, steps = zip(*added, strict=True)
    model, lengths = np.array(models), np.array([len(v) for v in values])
    new = {
        "flat": np.concatenate(values),
        "above": np.concatenate(above),
        "below": np.zeros(int(lengths.sum()), np.bool_),
        "start": len(sweeps.flat) + np.cumsum(lengths) - lengths,
        "length": lengths,
        "parameter": np.full(len(model), len(sweeps.parameters)),
        "pairing": victim[model],
        "step": np.array(steps),
        "doubtful": np.array([bool(np.isnan(v).any() or a.any()) for v, a in zip(values, above, strict=True)]),
        "disturbed": np.zeros(len(model), np.bool_),
        **{column: getattr(sweeps, column)[model] for column in ("record", "end", "origin", "axis")},
    }
    nothing = np.zeros(len(sweeps.flat), np.bool_)
    old = {column: getattr(sweeps, column) for column in new}
    old.update({column: nothing for column in ("above", "below") if old[column] is None})
    joined: dict[str, Any] = {column: np.concatenate([old[column], new[column]]) for column in new}
    return replace(sweeps, parameters=[*sweeps.parameters, name], **joined)
