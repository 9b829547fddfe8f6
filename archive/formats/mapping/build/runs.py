"""Rows of points grouped into curves: rows of one record, parameter, pair and end, with a rising axis."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from archive.formats.mapping.arrays import Floats, Ints
from archive.formats.mapping.build.axes import Axes
from archive.formats.mapping.build.keys import Keys
from archive.formats.mapping.row_frame import Problem, Problems, RowFrame, codes

_KEYS = ("parameter", "ordered", "end", "direction", "origin", "subject")


@dataclass(frozen=True)
class Runs:
    """Curves of a frame whose rows are points; one after the other they take every row of `order`.

    order: int64, the rows of the frame in the order of the curves, None where they stand in it already. rows: int64,
    the row that begins each curve, for its words. stops: int64, where each curve ends in `order`. axis: id of each.
    """

    order: Ints | None
    rows: Ints
    stops: Ints
    axis: list[str]


def runs_of(frame: RowFrame, frequency: Floats, keys: Keys, problems: Problems, axes: Axes) -> Runs:
    """The curves of a frame. frequency: float64, MHz of each row, NaN where none is given: such rows are in no curve.

    A record with a curve that has one frequency twice is set aside.
    """
    code = frame.record.astype(np.int64)
    for name in _KEYS:
        if name in keys.words:
            more = codes(keys.words[name])
            code = code * (int(more.max(initial=0)) + 2) + more + 1
    if keys.wavelength is not None:
        levels, more = np.unique(np.nan_to_num(keys.wavelength), return_inverse=True)
        code = code * len(levels) + more
    there = ~np.isnan(frequency) & ~keys.lost
    order = None if there.all() else np.flatnonzero(there)
    code, mhz = (code, frequency) if order is None else (code[order], frequency[order])
    starts = _starts(code)
    if len(starts) > len(np.unique(code)) or not _rising(mhz, starts):
        by = np.lexsort((mhz, code))
        order = by if order is None else order[by]
        code, mhz = code[by], mhz[by]
        starts = _starts(code)
    stops = np.append(starts[1:], len(code)) if len(starts) else starts
    axis, keep = [], np.ones(len(starts), dtype=bool)
    for i, (a, b) in enumerate(zip(starts.tolist(), stops.tolist(), strict=True)):
        part = mhz[a:b]
        same = np.flatnonzero(part[1:] <= part[:-1])
        if len(same):
            row = a + int(same[0]) + 1
            row = row if order is None else int(order[row])
            place = "" if frame.place is None else f"{frame.noun} {frame.place[row]}"
            found = f"{part[same[0]]:g} MHz twice"
            problem = Problem(place, "a frequency stands twice", found, "rising frequencies", _SPLIT)
            problems.add(int(frame.record[row]), problem)
            keep[i] = False
        else:
            axis.append(axes.id(part))
    if not keep.all():
        sizes = stops - starts
        order = (np.arange(len(code)) if order is None else order)[np.repeat(keep, sizes)]
        stops = np.cumsum(sizes[keep])
        starts = stops - sizes[keep]
    return Runs(order, starts if order is None else order[starts], stops, axis)


_SPLIT = "check whether two links or two tests stand in one block"


def _starts(code: Ints) -> Ints:
    """Where a run of equal codes begins."""
    if not len(code):
        return np.zeros(0, dtype=np.int64)
    return np.concatenate([[0], np.flatnonzero(code[1:] != code[:-1]) + 1])


def _rising(mhz: Floats, starts: Ints) -> bool:
    falls = np.flatnonzero(mhz[1:] <= mhz[:-1]) + 1
    return bool(np.isin(falls, starts, assume_unique=True).all())
