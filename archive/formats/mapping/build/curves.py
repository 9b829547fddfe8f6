"""Curves from rows of points: each row one frequency, the values in columns."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import pyarrow as pa

from archive import vocabulary
from archive.formats.base import numbers, units
from archive.formats.mapping.build.axes import Axes
from archive.formats.mapping.build.keys import Keys
from archive.formats.mapping.build.qualify import Qualifiers, origins, qualifiers, turned
from archive.formats.mapping.build.steps import curve_steps
from archive.formats.mapping.build.table_parts import TableParts
from archive.formats.mapping.model import Mapping, SourceField
from archive.formats.mapping.row_frame import Problem, Problems, RowFrame, codes

_KEYS = ("parameter", "ordered", "end", "direction", "origin", "subject")


@dataclass
class Runs:
    """Rows of points put together: run i is rows order[starts[i]:stops[i]], with a rising axis.

    order is None where the rows stand in that order already.
    """

    order: Any
    starts: Any
    stops: Any
    record: Any
    axis: Any
    first: Any
    """Row of the frame that begins each run, for its words."""


@dataclass
class Curve:
    """Values of one field over all runs, in the order of the runs' rows."""

    field: SourceField
    values: Any
    bound: Any


class Curves:
    """Puts curves into pieces."""

    def __init__(
        self, mapping: Mapping, writing: numbers.Writing, pieces: TableParts, problems: Problems, axes: Axes
    ) -> None:
        self._mapping, self._writing, self._pieces = mapping, writing, pieces
        self._problems, self._axes = problems, axes

    def points(self, frame: RowFrame, keys: Keys) -> None:
        """All curves of a frame whose rows are points."""
        if keys.frequency is None or not frame.rows:
            return
        runs = self._runs(frame, keys)
        if not len(runs.starts):
            return
        made: list[tuple[str, str, Qualifiers, Curve, Any]] = []
        for f in frame.table.fields:
            if f.source not in frame.columns:
                continue
            if f.to.table == "sweeps":
                made.append(self._curve(frame, keys, runs, f, f.to.name, None))
            elif f.to.table == "row" and f.to.name in ("value", "limit", "margin"):
                made += self._by_row(frame, keys, runs, f)
        for parameter, origin, q, curve, which in made:
            self._put(keys, runs, parameter, origin, q, curve, which)
        self._rebuild(keys, runs, made)

    def _by_row(self, frame: RowFrame, keys: Keys, runs: Runs, f: SourceField) -> list[Any]:
        """One entry per parameter that the rows name."""
        if frame.table.given.parameter:
            return [self._curve(frame, keys, runs, f, frame.table.given.parameter, None)]
        words = keys.words.get("parameter")
        if words is None:
            return []
        out = []
        named = words.take(pa.array(runs.first))
        for parameter in dict.fromkeys(named.drop_null().to_pylist()):
            which = np.asarray(pa.compute.fill_null(pa.compute.equal(named, parameter), False))
            out.append(self._curve(frame, keys, runs, f, parameter, which))
        return out

    def _curve(
        self, frame: RowFrame, keys: Keys, runs: Runs, f: SourceField, parameter: str, which: Any
    ) -> tuple[str, str, Qualifiers, Curve, Any]:
        said = f.to.origin or (f.to.name if f.to.table == "row" and f.to.name in ("limit", "margin") else "")
        own = vocabulary.parameter(parameter).unit
        named = units.find(f.unit) if f.unit else None
        unit = named if named and named.dimension == units.dimension(own) else units.for_parameter("", parameter)
        turn = turned(f, self._mapping, parameter, said)
        found = numbers.read(frame.columns[f.source], self._writing, unit, turn, step=False)
        self._problems.cells(frame, f.source, found.bad, f"a number ({own})", "correct the cell and read it again")
        values, bound = found.values, found.bound
        if runs.order is not None:
            values, bound = values[runs.order], bound[runs.order]
        return parameter, said, qualifiers(f, frame.table, keys, parameter), Curve(f, values, bound), which

    def _runs(self, frame: RowFrame, keys: Keys) -> Runs:
        code = frame.record.astype(np.int64)
        for name in _KEYS:
            if name in keys.words:
                more = codes(keys.words[name])
                code = code * (int(more.max(initial=0)) + 2) + more + 1
        if keys.wavelength is not None:
            levels, more = np.unique(np.nan_to_num(keys.wavelength), return_inverse=True)
            code = code * len(levels) + more
        there = ~np.isnan(keys.frequency) & ~keys.lost
        order = None if there.all() else np.flatnonzero(there)
        code = code if order is None else code[order]
        starts = _starts(code)
        mhz = keys.frequency if order is None else keys.frequency[order]
        if len(starts) > len(np.unique(code)) or not _rising(mhz, starts):
            by = np.lexsort((mhz, code))
            order = by if order is None else order[by]
            code, mhz = code[by], mhz[by]
            starts = _starts(code)
        stops = np.append(starts[1:], len(code)) if len(starts) else starts
        rows = starts if order is None else order[starts]
        record = frame.record[rows]
        axis, keep = [], np.ones(len(starts), dtype=bool)
        for i, (a, b) in enumerate(zip(starts.tolist(), stops.tolist(), strict=True)):
            part = mhz[a:b]
            same = np.flatnonzero(part[1:] <= part[:-1])
            if len(same):
                row = a + int(same[0]) + 1
                row = row if order is None else int(order[row])
                place = "" if frame.place is None else f"{frame.noun} {frame.place[row]}"
                found = f"{part[same[0]]:g} MHz twice"
                self._problems.add(
                    int(record[i]),
                    Problem(place, "a frequency stands twice", found, "rising frequencies", _SPLIT),
                )
                keep[i] = False
                axis.append("")
            else:
                axis.append(self._axes.id(part))
        if not keep.all():
            starts, stops, record, rows = starts[keep], stops[keep], record[keep], rows[keep]
            axis = [a for a, k in zip(axis, keep, strict=True) if k]
        return Runs(order, starts, stops, record, axis, rows)

    def _put(
        self, keys: Keys, runs: Runs, parameter: str, origin: str, q: Qualifiers, curve: Curve, which: Any
    ) -> None:
        lists, keep = _lists(curve.values, runs, which)
        if not keep.any():
            return
        at = np.flatnonzero(keep)
        taken = q.taken(pa.array(runs.first[at]))
        steps = curve_steps(curve.values, runs.starts[at], runs.stops[at])
        above, below = _bounded(curve.bound, runs, at)
        if len(at) != len(keep):
            lists = lists.take(pa.array(at))
        self._pieces.add(
            "sweeps",
            runs.record[at],
            parameter=parameter,
            end=taken.end,
            pairing=taken.pairing if taken.pairing is not None else taken.subject,
            direction=taken.direction,
            wavelength_nm=taken.wavelength,
            origin=origins(parameter, origin, keys, pa.array(runs.first[at])),
            axis_id=pa.array([runs.axis[i] for i in at.tolist()], type=pa.string()),
            values=lists,
            above=above,
            below=below,
            step=steps,
        )

    def _rebuild(self, keys: Keys, runs: Runs, made: list[tuple[str, str, Qualifiers, Curve, Any]]) -> None:
        """Values from a margin and a limit, where the export gives none. A limit may hold for all pairs and ends."""
        by: dict[str, dict[Any, tuple[Qualifiers, Curve, Any]]] = {"": {}, "limit": {}, "margin": {}}
        for parameter, origin, q, curve, which in made:
            if origin in by:
                key = (parameter, *(_name(getattr(q, n)) for n in ("end", "pairing", "direction", "wavelength")))
                by[origin][key] = (q, curve, which)
        for key, (q, margin, which) in by["margin"].items():
            limit = next((lim for k, lim in by["limit"].items() if _covers(k, key)), None)
            if limit is None or key in by[""]:
                continue
            sign = 1 if vocabulary.parameter(key[0]).sense == "min" else -1
            # Sums of short decimals become short decimals again.
            values = np.round(limit[1].values + sign * margin.values, 6)
            curve = Curve(margin.field, values, np.zeros(len(values), dtype=np.int8))
            self._put(keys, runs, key[0], "rebuilt", q, curve, which)


def _covers(limit: Any, margin: Any) -> bool:
    """Whether a limit holds for a margin: equal in all that it names."""
    return all(a in (b, None, "") for a, b in zip(limit, margin, strict=True))


_SPLIT = "check whether two links or two tests stand in one block"


def _name(value: Any) -> Any:
    return id(value) if isinstance(value, pa.Array) else value


def _starts(code: Any) -> Any:
    if not len(code):
        return np.zeros(0, dtype=np.int64)
    return np.concatenate([[0], np.flatnonzero(code[1:] != code[:-1]) + 1])


def _rising(mhz: Any, starts: Any) -> bool:
    falls = np.flatnonzero(mhz[1:] <= mhz[:-1]) + 1
    return bool(np.isin(falls, starts, assume_unique=True).all())


def _lists(values: Any, runs: Runs, which: Any) -> tuple[Any, Any]:
    """Arrow lists of the runs' values; boolean array of the runs that have any."""
    missing = np.isnan(values)
    holes = bool(missing.any())
    flat = pa.array(values, mask=missing) if holes else pa.array(values)
    offsets = np.append(runs.starts, runs.stops[-1]).astype(np.int32)
    contiguous = bool((runs.stops[:-1] == runs.starts[1:]).all())
    keep = np.ones(len(runs.starts), dtype=bool) if which is None else which.copy()
    if holes:
        filled = np.add.reduceat((~missing).astype(np.int64), runs.starts)
        if not contiguous:
            filled = np.array([(~missing[a:b]).sum() for a, b in zip(runs.starts, runs.stops, strict=True)])
        keep &= filled > 0
    if contiguous:
        return pa.ListArray.from_arrays(pa.array(offsets), flat), keep
    parts = [flat.slice(a, b - a) for a, b in zip(runs.starts.tolist(), runs.stops.tolist(), strict=True)]
    sizes = np.concatenate([[0], np.cumsum(runs.stops - runs.starts)]).astype(np.int32)
    return pa.ListArray.from_arrays(pa.array(sizes), pa.concat_arrays(parts)), keep


def _bounded(bound: Any, runs: Runs, at: Any) -> tuple[Any, Any]:
    if not bound.any():
        return None, None
    out = []
    for sign in (1, -1):
        lists = [np.flatnonzero(bound[runs.starts[i] : runs.stops[i]] == sign).tolist() or None for i in at.tolist()]
        out.append(pa.array(lists, type=pa.list_(pa.int64())))
    return out[0], out[1]
