"""Rules about which curves are there: parameters, pairs and combinations, ends."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np

from archive import vocabulary
from archive.tables.arrow import Bools, Ints
from archive.tables.curves import CurveArrays
from archive.validation.catalogue.registry import Answer, NotLooked, Raised, Tolerances, rule
from archive.validation.look import RecordLook
from archive.vocabulary import PAIRS

# What a parameter follows from: any one of the sets suffices.
_FOLLOWS: dict[str, tuple[tuple[str, ...], ...]] = {
    "ps_next": (("next",),),
    "acr_n": (("next", "insertion_loss"),),
    "ps_acr_n": (("ps_next", "insertion_loss"), ("next", "insertion_loss"), ("acr_n",)),
    "acr_f": (("fext", "insertion_loss"), ("elfext", "insertion_loss")),
    "elfext": (("fext", "insertion_loss"), ("acr_f", "insertion_loss")),
    "ps_fext": (("fext",),),
    "ps_acr_f": (("acr_f",), ("ps_fext", "insertion_loss"), ("fext", "insertion_loss"), ("elfext", "insertion_loss")),
    "ps_elfext": (("elfext",), ("fext", "insertion_loss"), ("acr_f", "insertion_loss")),
}
_FIELD = ("insertion_loss", "return_loss", "next", "ps_next", "acr_n", "fext", "acr_f", "elfext", "ps_acr_f")


def _say(parameter: str) -> str:
    return vocabulary.parameter(parameter).name


def _present(look: RecordLook, parameter: str) -> Bools:
    """True for records with a measured or derived curve of a parameter."""
    return look.with_rows(look.curves.record, look.curves.mask("parameter", parameter) & _taken(look))


def _taken(look: RecordLook) -> Bools:
    """True for measured and derived curves."""
    return look.curves.mask("origin", "measured", "derived")


@rule("parameter-missing")
def parameter_missing(look: RecordLook, _: Tolerances) -> Iterator[Answer]:
    """A line that a pass needs, and neither the parameter nor what it follows from."""
    asked = look.is_copper & look.is_full_sweep
    yield NotLooked(np.flatnonzero(asked & ~look.limits.known), "which parameters are needed is not known: no limit")
    have: dict[str, Bools] = {}
    for limit, theirs in look.limits.groups():
        for parameter, line in limit.lines.items():
            if line.role != "required" or line.unit != "dB":
                continue
            sets = ((parameter,), *_FOLLOWS.get(parameter, ()))
            for name in {n for s in sets for n in s} - set(have):
                have[name] = _present(look, name)
            enough = np.any([np.all([have[n] for n in s], axis=0) for s in sets], axis=0)
            rows = np.flatnonzero(asked & theirs & ~enough)
            yield Raised(rows, where=_say(parameter), expected=limit.id)


def _grids(look: RecordLook, parameter: str) -> dict[str, Bools]:
    """By end ("" for none given): true where a record has a curve of the parameter for each pairing, (size, n)."""
    curves, ends = look.curves, ("", *vocabulary.ENDS)
    names = vocabulary.pairings(vocabulary.parameter(parameter).per)
    wanted = np.flatnonzero(curves.mask("parameter", parameter) & _taken(look) & (curves.record >= 0))
    end, pairing = (_places(curves, c, among, wanted) for c, among in (("end", ends), ("pairing", names)))
    out = np.zeros((len(ends), look.size, len(names)), dtype=bool)
    known = (end >= 0) & (pairing >= 0)
    out[end[known], curves.record[wanted[known]], pairing[known]] = True
    return dict(zip(ends, out, strict=True))


def _places(curves: CurveArrays, column: str, among: Sequence[str], rows: Ints) -> Ints:
    """Of each curve the place of its word among some words ("" for none given), -1 for any other."""
    words, codes = curves.coded(column)
    return np.array([among.index(w) if w in among else -1 for w in (*words, "")], dtype=np.int64)[codes[rows]]


@rule("pairing-missing")
def pairing_missing(look: RecordLook, _: Tolerances) -> Iterator[Answer]:
    """At each end at which a parameter was taken at all, every pair or combination. Of ACR-N six of twelve suffice."""
    asked = look.is_copper & look.is_full_sweep & ~_narrow(look)
    for parameter in _FIELD:
        if not look.curves.mask("parameter", parameter).any():
            continue
        names = vocabulary.pairings(vocabulary.parameter(parameter).per)
        for end, grid in _grids(look, parameter).items():
            if parameter == "acr_n":
                grid = grid | grid[:, [names.index("/".join(reversed(n.split("/")))) for n in names]]
            rows = np.flatnonzero(asked & grid.any(axis=1) & ~grid.all(axis=1))
            gone = [", ".join(n for n, g in zip(names, grid[r], strict=True) if not g) for r in rows]
            yield Raised(rows, where=f"{_say(parameter)} {end}".strip(), found=gone)


def _narrow(look: RecordLook) -> Bools:
    """True for records whose limit needs fewer than four pairs."""
    out = np.zeros(look.size, dtype=bool)
    for limit, theirs in look.limits.groups():
        if limit.pairs and len(limit.pairs) < len(PAIRS):
            out |= theirs
    return out


@rule("end-missing")
def end_missing(look: RecordLook, _: Tolerances) -> Iterator[Answer]:
    """A parameter that is taken at both ends, at one of them only."""
    asked = look.is_copper & look.is_full_sweep
    for parameter in _FIELD:
        if not vocabulary.parameter(parameter).ends or not look.curves.mask("parameter", parameter).any():
            continue
        grids = _grids(look, parameter)
        local, remote = grids["local"].any(axis=1), grids["remote"].any(axis=1)
        for has, lacks, end in ((local, remote, "local"), (remote, local, "remote")):
            yield Raised(np.flatnonzero(asked & has & ~lacks), where=_say(parameter), found=end)
