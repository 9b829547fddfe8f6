"""Curves become rows of `sweeps`, whether their points stand in rows, in columns or in one cell."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from archive import vocabulary
from archive.formats.base import numbers, units
from archive.formats.mapping.build.axis_table import AxisTable
from archive.formats.mapping.build.cell_arrays import Bulk, Signs, bulk, numbers_in
from archive.formats.mapping.build.curve_axes import CurveAxes, SharedAxes
from archive.formats.mapping.build.keys import Keys
from archive.formats.mapping.build.qualify import WrittenAs, origins, qualifiers, written_as
from archive.formats.mapping.build.runs import Runs, runs_of
from archive.formats.mapping.build.table_parts import TableParts
from archive.formats.mapping.headings import BOUNDS, VALUES
from archive.formats.mapping.model import Mapping, SourceField
from archive.formats.mapping.row_frame import Problem, Problems, RowFrame
from archive.formats.mapping.target import Target
from archive.parallel import parallel_map
from archive.tables.arrow import Bools, Ints, Reals
from archive.tables.decimals import STEPS, fewest_decimals

_FEW = 20
"""Rows of a frame that are not worth a thread."""


@dataclass(frozen=True)
class CurveCells:
    """The curves of one field, one after the other.

    rows: int64, the row of the frame that says what each curve is. stops: int64, where each ends in `values`. axis: id
    of each. values: float64 in the unit of the tables, NaN for a missing point. bound: of each value, or None.
    """

    rows: Ints
    stops: Ints
    axis: Sequence[str]
    values: Reals
    bound: Signs | None = None


class CurveBuilder:
    """Adds curves to the parts of `sweeps`. A record with a cell that cannot be read is set aside."""

    def __init__(
        self, mapping: Mapping, writing: numbers.Writing, parts: TableParts, problems: Problems, axes: AxisTable
    ) -> None:
        self._mapping, self._writing, self._parts = mapping, writing, parts
        self._problems, self._axes = problems, axes
        self._axis_of = CurveAxes(writing)

    def points(self, frame: RowFrame, keys: Keys) -> None:
        """Curves of a frame whose rows are points."""
        if keys.frequency is None or not frame.rows:
            return
        runs = runs_of(frame, keys.frequency, keys, self._problems, self._axes)
        if not len(runs.rows):
            return
        made = []
        for what, which in self._wanted(frame, keys, ("value", "limit", "margin"), runs.rows):
            found = self._numbers(frame, what)
            values, bound = found.values, found.bound
            if runs.order is not None:
                values, bound = values[runs.order], bound[runs.order]
            curves = CurveCells(runs.rows, runs.stops, runs.axis, values, bound)
            made.append((what, which, curves))
            kept = self._put(frame, keys, what, curves, which)
            self._fed(frame, keys, what.field.source, runs, kept, found.values)
        self._rebuild(frame, keys, runs, made)

    @staticmethod
    def _fed(frame: RowFrame, keys: Keys, source: str, runs: Runs, kept: Ints, values: Reals) -> None:
        """The points of the curves that were kept arrived; a cell without a number says nothing."""
        into = np.zeros(len(runs.stops), dtype=bool)
        into[kept] = True
        of_point = np.repeat(into, np.diff(np.append(0, runs.stops)))
        frame.feed(source, of_point if runs.order is None else runs.order[of_point])
        if np.isnan(values).any():
            frame.feed(source, np.isnan(values) & ~keys.lost)

    def cells(self, frame: RowFrame, keys: Keys, shared: SharedAxes) -> None:
        """Curves that stand in one cell, or of which each point has a column of its own."""
        self._spread(frame, keys)
        names = ("values", "limit", "margin") if frame.table.rows == "curves" else ()
        listed = [x for x in self._wanted(frame, keys, names) if not x[0].field.to.frequency]
        columns = self._columns(frame, {what.field.source: what.field for what, _ in listed})
        for what, which in listed:
            there = np.asarray(frame.columns[what.field.source].is_valid()) & ~keys.lost
            at = np.flatnonzero(there if which is None else there & which)
            if len(at):
                whole = columns[what.field.source]
                found = None if whole is None else self._alike(frame, what, at, whole)
                found = self._bounded(frame, what, found or self._each(frame, what, at, whole, shared))
                if found is not None and (found.values != 0).any():
                    frame.note(what.field.source, what.changes | self._marks(frame, what.field, int(found.rows[0])))
                self._put(frame, keys, what, found)
                if found is not None:
                    frame.feed(what.field.source, found.rows)
                    self._counted(frame, what.field, found)

    @staticmethod
    def _bounded(frame: RowFrame, what: WrittenAs, found: CurveCells | None) -> CurveCells | None:
        """Curves of a matrix with the bounds that its cells write."""
        if found is None or what.field.source != VALUES or BOUNDS not in frame.columns:
            return found
        lists = frame.columns[BOUNDS].take(pa.array(found.rows))
        bound = lists.flatten().to_numpy().astype(np.int8)
        return replace(found, bound=-bound if what.turned else bound)

    def _counted(self, frame: RowFrame, f: SourceField, found: CurveCells) -> None:
        """Curves have as many values as a cell beside them says; a record with one that has not is set aside."""
        count = frame.table.find("count")
        if count is None or count.source not in frame.columns:
            return
        frame.keyed.add(count.source)
        cells = frame.columns[count.source].take(pa.array(found.rows))
        stated = numbers.read(cells, self._writing, step=False).values
        sizes = np.diff(np.append(0, found.stops))
        for i in np.flatnonzero((stated != sizes) & ~np.isnan(stated)).tolist():
            self._set_aside(
                frame, f, int(found.rows[i]), f"{sizes[i]} values", f"{stated[i]:g}, as {count.source} says"
            )

    def _marks(self, frame: RowFrame, f: SourceField, row: int) -> set[numbers.Change]:
        """Marks of the numbers in a cell that are not those of the tables; marks beside numbers of all cells."""
        column = frame.columns[f.source]
        if f.encoding or not pa.types.is_string(column.type):
            return set()
        return numbers.marks(column if self._writing.beside else column.slice(row, 1), self._writing)

    def _wanted(
        self, frame: RowFrame, keys: Keys, names: Sequence[str], rows: Ints | None = None
    ) -> Iterator[tuple[WrittenAs, Bools | None]]:
        """Fields whose cells are of curves, once for each parameter that they are of, with the rows of that parameter.

        names: of fields that go to the row. rows: those that name the parameter, where not all do.
        """
        for f in frame.table.fields:
            if f.source not in frame.columns:
                continue
            if f.to.table == "sweeps":
                yield written_as(f, self._mapping, f.to.name), None
            elif f.to.table == "row" and f.to.name in names and frame.table.given.parameter:
                yield written_as(f, self._mapping, frame.table.given.parameter), None
            elif f.to.table == "row" and f.to.name in names and "parameter" in keys.words:
                named = keys.words["parameter"] if rows is None else keys.words["parameter"].take(pa.array(rows))
                for parameter in dict.fromkeys(named.drop_null().to_pylist()):
                    which = np.asarray(pc.fill_null(pc.equal(named, parameter), False))
                    yield written_as(f, self._mapping, parameter), which

    def _numbers(self, frame: RowFrame, what: WrittenAs) -> numbers.Numbers:
        """A column of single points."""
        source = what.field.source
        found = numbers.read(frame.columns[source], self._writing, what.unit, what.turned, step=False)
        frame.note(source, found.changes)
        self._problems.cells(frame, source, found.bad, f"a number ({vocabulary.parameter(what.parameter).unit})")
        return found

    def _spread(self, frame: RowFrame, keys: Keys) -> None:
        """Curves of which each point has a column of its own, such as "NEXT 12-36 @ 100 MHz"."""
        curves: dict[Target, list[tuple[float, SourceField]]] = {}
        for f in frame.table.fields:
            if f.to.table == "sweeps" and f.to.frequency and f.source in frame.columns:
                curves.setdefault(f.to.at(frequency=""), []).append((float(f.to.frequency), f))
        at = np.flatnonzero(~keys.lost)
        for to, points in curves.items():
            points.sort(key=lambda p: p[0])
            listed = [written_as(f, self._mapping, to.name) for _, f in points]
            read = [self._numbers(frame, what) for what in listed]
            values, bound = np.column_stack([r.values for r in read]), np.column_stack([r.bound for r in read])
            mhz = np.array([f for f, _ in points])
            for what in listed:
                frame.feed(what.field.source, at)
            self._put(frame, keys, listed[0], self._grid(at, mhz, values[at].reshape(-1), bound[at].reshape(-1)))

    def _grid(self, rows: Ints, mhz: Reals, values: Reals, bound: Signs | None = None) -> CurveCells:
        """Curves of one axis."""
        return CurveCells(rows, np.arange(1, len(rows) + 1) * len(mhz), [self._axes.id(mhz)] * len(rows), values, bound)

    def _columns(self, frame: RowFrame, fields: dict[str, SourceField]) -> dict[str, Bulk | None]:
        """The numbers of whole columns by their source; side by side, for Arrow releases the GIL."""

        def read(f: SourceField) -> Bulk | None:
            return bulk(frame.columns[f.source], f, self._writing)

        several = len(fields) > 1 and frame.rows >= _FEW
        return dict(zip(fields, (parallel_map if several else map)(read, fields.values()), strict=True))

    def _alike(self, frame: RowFrame, what: WrittenAs, at: Ints, whole: Bulk) -> CurveCells | None:
        """Cells that plainly have one axis, and as many numbers as it; None where they have not."""
        mhz = self._axis_of.common(frame, at)
        if mhz is None or not (np.diff(mhz) > 0).all():
            return None
        flat = whole.curves(at, len(mhz))
        return None if flat is None else self._grid(at, mhz, what.ours(flat))

    def _each(
        self, frame: RowFrame, what: WrittenAs, at: Ints, whole: Bulk | None, shared: SharedAxes
    ) -> CurveCells | None:
        """Cells one by one. whole: the numbers of their column, where it is one of plain numbers."""
        f = what.field
        rows, values, bounds, axis = [], [], [], []
        for i in at.tolist():
            try:
                v, bound, mhz = self._one(frame, f, i, whole, shared)
            except ValueError as error:
                self._set_aside(frame, f, i, str(error), "a list of numbers")
                continue
            if mhz is None:
                self._set_aside(frame, f, i, f"{len(v)} values", "an axis: frequencies, or start and step")
            elif len(v) != len(mhz):
                self._set_aside(frame, f, i, f"{len(v)} values", f"{len(mhz)} values, one for each frequency")
            elif not (np.diff(mhz) > 0).all():
                self._set_aside(frame, f, i, "frequencies that do not rise", "rising frequencies")
            elif np.isinf(v).any():
                self._set_aside(frame, f, i, "an infinite value", "numbers")
            else:
                rows.append(i)
                values.append(v)
                bounds.append(bound)
                axis.append(self._axes.id(mhz))
        if not rows:
            return None
        stops = np.cumsum([len(v) for v in values])
        bound = np.concatenate(bounds)
        flat = what.ours(np.concatenate(values))
        return CurveCells(np.array(rows), stops, axis, flat, -bound if what.turned else bound)

    def _one(
        self, frame: RowFrame, f: SourceField, i: int, whole: Bulk | None, shared: SharedAxes
    ) -> tuple[Reals, Signs, Reals | None]:
        """Values, bounds and axis (MHz, None where there is none) of one cell. Errors: ValueError."""
        cell = whole.of(i) if whole is not None else frame.columns[f.source][i].as_py()
        if isinstance(cell, str):
            v, b = numbers_in(cell, f, self._writing)
        else:
            # A number where the others have lists is a list of one.
            v = np.atleast_1d(np.array(cell, dtype=np.float64))
            b = np.zeros(len(v), dtype=np.int8)
        if f.encoding == "pairs":
            unit = units.for_unit(frame.table.frequency_unit, "MHz", "frequency")
            return v[1::2], b[1::2], unit.ours(v[0::2])
        return v, b, self._axis_of.of(frame, f, i, len(v), shared)

    def _put(
        self, frame: RowFrame, keys: Keys, what: WrittenAs, found: CurveCells | None, which: Bools | None = None
    ) -> Ints:
        """Adds curves that have a value, and tells which these are (int64). which: boolean, the curves that are meant,
        where not all are."""
        if found is None or not len(found.rows):
            return np.zeros(0, dtype=np.int64)
        starts = np.append(0, found.stops[:-1])
        missing = np.isnan(found.values)
        holes = bool(missing.any())
        keep = found.stops > starts
        if holes:
            filled = np.append(0, np.cumsum(~missing))
            keep = filled[found.stops] > filled[starts]
        at = np.flatnonzero(keep if which is None else keep & which)
        if not len(at):
            return at
        flat = pa.array(found.values, mask=missing) if holes else pa.array(found.values)
        lists = pa.ListArray.from_arrays(pa.array(np.append(0, found.stops).astype(np.int32)), flat)
        rows = found.rows[at]
        above, below = _bounded(found.bound, starts[at], found.stops[at])
        axis = self._axes.used([found.axis[i] for i in at.tolist()])
        self._parts.add(
            "sweeps",
            frame.record[rows],
            parameter=what.parameter,
            **qualifiers(what.field, frame.table, keys, what.parameter).taken(pa.array(rows)).columns(),
            origin=origins(what.parameter, what.origin, keys, pa.array(rows)),
            axis_id=pa.array(axis, type=pa.string()),
            values=lists if len(at) == len(keep) else lists.take(pa.array(at)),
            above=above,
            below=below,
            step=STEPS[fewest_decimals(found.values, starts[at], found.stops[at])],
        )
        return at

    def _rebuild(
        self, frame: RowFrame, keys: Keys, runs: Runs, made: list[tuple[WrittenAs, Bools | None, CurveCells]]
    ) -> None:
        """Values from a margin and a limit, where the export gives none. A limit may hold for all pairs and ends."""
        if all(what.origin != "margin" for what, *_ in made):
            return
        by: dict[str, dict[tuple[object, ...], tuple[WrittenAs, Bools | None, CurveCells]]] = {}
        for one in made:
            what = one[0]
            q = qualifiers(what.field, frame.table, keys, what.parameter)
            # Words of the rows are the same ones for a margin and its limit.
            named = ["by row" if isinstance(x, pa.Array) else x for x in (q.end, q.pairing, q.direction, q.wavelength)]
            by.setdefault(what.origin, {})[(what.parameter, *named)] = one
        for key, (what, which, margin) in by.get("margin", {}).items():
            limit = next((found for k, (_, _, found) in by.get("limit", {}).items() if _covers(k, key)), None)
            if limit is None or key in by.get("", {}):
                continue
            sign = 1 if vocabulary.parameter(what.parameter).sense == "min" else -1
            # Sums of short decimals become short decimals again.
            values = np.round(limit.values + sign * margin.values, 6)
            self._put(frame, keys, replace(what, origin="rebuilt"), replace(margin, values=values, bound=None), which)

    def _set_aside(self, frame: RowFrame, f: SourceField, i: int, found: str, expected: str) -> None:
        place = f.source if frame.place is None else f"{frame.noun} {frame.place[i]}, {f.source}"
        remedy = (
            "let the mapping say how the list is written (separator, encoding, unit, the frequencies that belong to it)"
        )
        self._problems.add(int(frame.record[i]), Problem(place, "a curve that cannot be read", found, expected, remedy))


def _covers(limit: tuple[object, ...], margin: tuple[object, ...]) -> bool:
    """Whether a limit holds for a margin: equal in all that it names."""
    return all(a in (b, None, "") for a, b in zip(limit, margin, strict=True))


def _bounded(bound: Signs | None, starts: Ints, stops: Ints) -> tuple[pa.Array | None, pa.Array | None]:
    """Positions of the values above and below what they say, as lists of each curve; None where no curve has any."""
    if bound is None or not bound.any():
        return None, None
    spans = list(zip(starts.tolist(), stops.tolist(), strict=True))
    above, below = ([np.flatnonzero(bound[a:b] == sign).tolist() or None for a, b in spans] for sign in (1, -1))
    return pa.array(above, type=pa.list_(pa.int64())), pa.array(below, type=pa.list_(pa.int64()))
