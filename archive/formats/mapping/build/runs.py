"""Rows of points grouped into curves: rows of one record, parameter, pair and end, with a rising axis."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from archive.formats.mapping.build.axis_table import AxisTable
from archive.formats.mapping.build.keys import Keys
from archive.formats.mapping.row_frame import Problem, Problems, RowFrame, codes, one_code, run_starts
from archive.tables.arrow import Ints, Reals

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


def runs_of(frame: RowFrame, frequency: Reals, keys: Keys, problems: Problems, axes: AxisTable) -> Runs:
    """The curves of a frame. frequency: float64, MHz of each row, NaN where none is given: such rows are in no curve.

    A record with a curve that has one frequency twice is set aside.
    """
    told_apart = [codes(keys.words[name]) for name in _KEYS if name in keys.words]
    if keys.wavelength is not None:
        told_apart.append(np.unique(np.nan_to_num(keys.wavelength), return_inverse=True)[1])
    code = one_code(frame.record, *told_apart)
    there = ~np.isnan(frequency) & ~keys.lost
    order = None if there.all() else np.flatnonzero(there)
    code, mhz = (code, frequency) if order is None else (code[order], frequency[order])
    starts = run_starts(code)
    if len(starts) > len(np.unique(code)) or not _rising(mhz, starts):
        by = np.lexsort((mhz, code))
        order = by if order is None else order[by]
        code, mhz = code[by], mhz[by]
        starts = run_starts(code)
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


def _rising(mhz: Reals, starts: Ints) -> bool:
    falls = np.flatnonzero(mhz[1:] <= mhz[:-1]) + 1
    return bool(np.isin(falls, starts, assume_unique=True).all())
