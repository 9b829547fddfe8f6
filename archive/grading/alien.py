"""Alien crosstalk: power sums over any number of disturbing links, laid beside the curves of the export."""

from __future__ import annotations

import copy

import numpy as np

from archive import vocabulary
from archive.grading.arithmetic import Bools, Ints, Reals, to_decibels, to_power
from archive.grading.curves import PAIRINGS, RECOMPUTED, Curves

PARTS = {"anext": "ps_anext", "afext": "ps_afext", "aacr_f": "ps_aacr_f"}
"""Pair-to-pair alien parameters and what their power sum is called."""


def lay(curves: Curves, given: Bools) -> Curves:
    """The curves with PS ANEXT, PS AFEXT and PS AACR-F recomputed wherever single disturbers are there.

    given: rows that may be used. A power sum runs over every disturbing pair of every disturbing link that the record
    has for one end and one disturbed pair; how many there should be, no record says. Disturbers of one sum must lie
    on one axis.
    """
    victim = _victims(curves)
    for part, whole in PARTS.items():
        if part not in curves.parameters:
            continue
        rows = np.flatnonzero(
            given & (curves.parameter == curves.parameters.index(part)) & (curves.axis >= 0) & (victim >= 0)
        )
        curves = _laid(curves, rows[curves.record[rows] >= 0], victim, whole + RECOMPUTED)
        victim = np.concatenate([victim, np.full(curves.rows - len(victim), -1)])
    return curves


def _victims(curves: Curves) -> Ints:
    """Code of the disturbed pair: the last that the pairing names."""
    names = [str(name).rsplit("/", 1)[-1] for name in curves.pairing_names]
    codes = [PAIRINGS.index(name) if name in vocabulary.PAIRS else -1 for name in names]
    return np.array([*codes, -1], np.int64)[curves.pairing_text]


def _laid(curves: Curves, rows: Ints, victim: Ints, name: str) -> Curves:
    order = rows[np.lexsort((victim[rows], curves.end[rows], curves.record[rows]))]
    if not len(order):
        return curves
    slot = (curves.record[order] * 3 + curves.end[order]) * len(PAIRINGS) + victim[order]
    _, first, count = np.unique(slot, return_index=True, return_counts=True)
    added: list[tuple[int, Reals, Bools, float]] = []
    for begin, size in zip(first.tolist(), count.tolist(), strict=True):
        members = order[begin : begin + size]
        if len(set(curves.axis[members].tolist())) > 1:
            continue
        values = curves.gather(members, 0, int(curves.length[members[0]]))
        low, high = (to_decibels(to_power(bound).sum(axis=0)) for bound in (values.low, values.high))
        known = np.isfinite(low)
        added.append(
            (int(members[0]), np.where(known, low, np.nan), known & (high > low), float(curves.step[members].max()))
        )
    return _appended(curves, added, victim, name) if added else curves


def _appended(curves: Curves, added: list[tuple[int, Reals, Bools, float]], victim: Ints, name: str) -> Curves:
    """The curves with new rows at the end; each takes record, end and axis from a row that it is made of."""
    model = np.array([row for row, *_ in added])
    new = copy.copy(curves)
    new.rows = curves.rows + len(added)
    new.parameters = [*curves.parameters, name]
    above = [a for _, _, a, _ in added]
    zeros = np.zeros(len(curves.flat), np.bool_)
    new.above = np.concatenate([zeros if curves.above is None else curves.above, *above])
    if curves.below is not None:
        new.below = np.concatenate([curves.below, *(np.zeros(len(a), np.bool_) for a in above)])
    lengths = curves.length[model]
    new.start = np.concatenate([curves.start, len(curves.flat) + np.cumsum(lengths) - lengths])
    new.length = np.concatenate([curves.length, lengths])
    new.flat = np.concatenate([curves.flat, *(v for _, v, _, _ in added)])
    new.parameter = np.concatenate([curves.parameter, np.full(len(added), len(curves.parameters))])
    new.step = np.concatenate([curves.step, [s for *_, s in added]])
    new.disturbed = np.concatenate([curves.disturbed, np.zeros(len(added), np.bool_)])
    unsure = [bool(np.isnan(v).any() or a.any()) for _, v, a, _ in added]
    new.doubtful = np.concatenate([curves.doubtful, unsure])
    for column in ("record", "end", "origin", "axis", "pairing_text"):
        held = getattr(curves, column)
        setattr(new, column, np.concatenate([held, held[model]]))
    new.__dict__["pairing"] = np.concatenate([curves.pairing, victim[model]])
    return new
