"""Alien crosstalk: power sums over any number of disturbing links, added to the curves of the export."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from functools import reduce
from typing import Any

import numpy as np

from archive import vocabulary
from archive.grading.arithmetic import Bools, Ints, Reals, to_decibels, to_power
from archive.grading.sweep_arrays import PAIRINGS, PARTIAL, RECOMPUTED, SweepArrays

PARTS = {"anext": "ps_anext", "afext": "ps_afext", "aacr_f": "ps_aacr_f"}
"""Pair-to-pair alien parameters, and the name of their power sum."""


@dataclass(frozen=True)
class _Sum:
    """A power sum of some rows: frequencies MHz, values in dB, flags of values that are only a bound (points,)."""

    members: Ints
    frequencies: Reals
    values: Reals
    above: Bools
    below: Bools
    name: str


def with_power_sums(sweeps: SweepArrays, pairing_names: list[str], pairing_text: Ints) -> SweepArrays:
    """The sweeps with PS ANEXT, PS AFEXT and PS AACR-F recomputed wherever single disturbers are there.

    pairing_names, pairing_text: texts of the pairings and the text of each curve (-1: none). A power sum runs over
    every disturbing pair of every disturbing link that the record has for one end and one disturbed pair; how many
    there should be, no record says. Disturbers with different frequencies are summed at the points that all of them
    have. At the others the sum of those that are there is an upper bound of the isolation (PARTIAL): it can prove a
    fail and never a pass.
    """
    names = [name.rsplit("/", 1)[-1] for name in pairing_names]  # the disturbed pair is the last that is named
    codes = [PAIRINGS.index(name) if name in vocabulary.PAIRS else -1 for name in names]
    victim = np.array([*codes, -1], np.int64)[pairing_text]
    usable = sweeps.given & (victim >= 0)
    single = {sweeps.parameters.index(part): whole for part, whole in PARTS.items() if part in sweeps.parameters}
    sums = [
        found
        for part, whole in single.items()
        for members in _slots(sweeps, np.flatnonzero(usable & (sweeps.parameter == part)), victim)
        for found in _sums(sweeps, members, whole)
    ]
    return _appended(sweeps, sums, victim) if sums else sweeps


def _slots(sweeps: SweepArrays, rows: Ints, victim: Ints) -> list[Ints]:
    """Rows by record, end and disturbed pair."""
    order = rows[np.lexsort((victim[rows], sweeps.end[rows], sweeps.record[rows]))]
    slot = (sweeps.record[order] * 3 + sweeps.end[order]) * len(PAIRINGS) + victim[order]
    return np.split(order, np.flatnonzero(np.diff(slot)) + 1) if len(order) else []


def _sums(sweeps: SweepArrays, members: Ints, whole: str) -> Iterator[_Sum]:
    axes = [sweeps.axes[code] for code in np.unique(sweeps.axis[members])]
    shared = reduce(np.intersect1d, axes)
    every = reduce(np.union1d, axes)
    powers = np.zeros((2, len(every)))  # of the lowest and of the highest isolation
    missing = np.full(len(every), len(members))
    for axis in np.unique(sweeps.axis[members]):
        rows = members[sweeps.axis[members] == axis]
        at = np.searchsorted(every, sweeps.axes[axis])
        values = sweeps.gather(rows, 0, len(at))
        powers[0, at] += to_power(values.low).sum(axis=0)
        powers[1, at] += to_power(values.high).sum(axis=0)
        missing[at] -= len(rows)
    low, high = to_decibels(powers)
    low[missing > 0] = -np.inf
    below = np.isneginf(low)
    values, above = np.where(below, high, low), ~below & (high > low)
    values[np.isinf(values)] = np.nan
    if len(shared):
        at = np.searchsorted(every, shared)
        yield _Sum(members, shared, values[at], above[at], below[at], whole + RECOMPUTED)
    if len(shared) < len(every):
        yield _Sum(members, every, values, above, below, whole + PARTIAL)


def _appended(sweeps: SweepArrays, sums: list[_Sum], victim: Ints) -> SweepArrays:
    """The sweeps with new curves at the end; each takes record, end and origin from a curve that it is made of."""
    model = np.array([found.members[0] for found in sums])
    lengths = np.array([len(found.values) for found in sums])
    parameters = list(dict.fromkeys([*sweeps.parameters, *(found.name for found in sums)]))
    axes = list(sweeps.axes)
    known = {frequencies.tobytes(): code for code, frequencies in enumerate(axes)}
    for found in sums:
        if known.setdefault(found.frequencies.tobytes(), len(axes)) == len(axes):
            axes.append(found.frequencies)
    new: dict[str, Any] = {
        **{name: np.concatenate([getattr(found, name) for found in sums]) for name in ("above", "below")},
        "flat": np.concatenate([found.values for found in sums]),
        "start": len(sweeps.flat) + np.cumsum(lengths) - lengths,
        "length": lengths,
        "parameter": np.array([parameters.index(found.name) for found in sums]),
        "pairing": victim[model],
        "axis": np.array([known[found.frequencies.tobytes()] for found in sums]),
        "step": np.array([sweeps.step[found.members].max() for found in sums]),
        "doubtful": np.array([bool((np.isnan(s.values) | s.above | s.below).any()) for s in sums]),
        "disturbed": np.zeros(len(sums), np.bool_),
        **{name: getattr(sweeps, name)[model] for name in ("record", "end", "origin")},
    }
    old = {name: getattr(sweeps, name) for name in new}
    nothing = np.zeros(len(sweeps.flat), np.bool_)
    old.update({name: nothing for name in ("above", "below") if old[name] is None})
    joined: dict[str, Any] = {name: np.concatenate([old[name], new[name]]) for name in new}
    return replace(sweeps, parameters=parameters, axes=axes, **joined)
