"""Reading one parameter's curves of many records into histograms, bag after bag, as the bags hold them: packed."""

from __future__ import annotations

import sys
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from archive import grading
from archive.answers.rates.histogram import Histogram
from archive.spread import Workforce
from archive.store import Archive
from archive.store.bag_reading import BagReading
from archive.store.checked_files import passed_over
from archive.store.kept_work import BagWork
from archive.store.parquet import BagTables, options
from archive.tables.arrow import Ints, coded, one_chunk
from archive.vocabulary.counted import counted

_COLUMNS = ["parameter", "position", "origin", "axis_id", "decimals", "scaled", "values"]
_GROUPS = 16
"""Row groups read together: some 250 records."""
_RECORDS = 2000
"""Records whose curves are counted as one piece, where bags are small."""
_NONE = -(2**31)
"""Stands for a missing point; no scaled value is so small."""


LACKS = "not all of its curves are counted"
MEASURED, DERIVED, RECOMPUTED = "measured", "derived", "recomputed"


@dataclass(frozen=True)
class Selected:
    """Records of one deposit. positions: rising; groups: number of the group of each."""

    deposit: str
    bag: BagReading
    positions: tuple[int, ...]
    groups: tuple[int, ...]


@dataclass(frozen=True)
class CurvesAsked:
    """Which curves. groups: their number; worst: of each record the worst at each frequency alone; sense: "max" or
    "min", of the parameter."""

    parameter: str
    groups: int
    worst: bool
    sense: str


@dataclass(frozen=True)
class _CurvesToCount:
    """Some deposits of which the curves of one origin are counted together."""

    asked: CurvesAsked
    origin: str
    bags: tuple[Selected, ...]


@dataclass
class CurveCounts:
    """One histogram per group, how many records of each have curves, (groups,) int64, and curves that were left out."""

    histograms: list[Histogram]
    records: Ints
    skipped: int = 0
    notes: list[str] = field(default_factory=list)


def count_curves(
    archive: Archive, asked: CurvesAsked, selected: Sequence[Selected], force: Workforce | None = None
) -> CurveCounts:
    """Counts the curves of the selected records.

    Measured curves count; where there are none, those that the export derived; where there are none either, they are
    recomputed from measured ones. Errors: Trouble for a damaged bag.
    """
    for origin in (MEASURED, DERIVED, RECOMPUTED):
        pieces = [_CurvesToCount(asked, origin, bags) for bags in _together(selected)]
        work = BagWork(archive.id, force or Workforce(), "curves", _counted, pieces, lambda p: p.bags[0].deposit)
        found = CurveCounts([Histogram() for _ in range(asked.groups)], np.zeros(asked.groups, np.int64))
        for _, part in work.sure():
            for whole, of_part in zip(found.histograms, part.histograms, strict=True):
                whole.merge(of_part)
            found.records += part.records
            found.skipped += part.skipped
        if found.records.any():
            break
    if found.skipped:
        found.notes.append(f"left out: {counted(found.skipped, 'curve')} not fitting the axis")
    if found.records.any() and origin != MEASURED:
        how = "those that the export derived" if origin == DERIVED else "recomputed from measured ones"
        found.notes.append(f"the curves {'are' if origin == DERIVED else 'were'} {how}")
    return found


def _together(selected: Sequence[Selected]) -> Iterator[tuple[Selected, ...]]:
    """Deposits whose curves are counted together: small ones, up to _RECORDS records."""
    held: list[Selected] = []
    number = 0
    for one in selected:
        if held and number + len(one.positions) > _RECORDS:
            yield tuple(held)
            held, number = [], 0
        held.append(one)
        number += len(one.positions)
    if held:
        yield tuple(held)


def _counted(piece: _CurvesToCount) -> CurveCounts:
    """The curves of a piece, wherever this runs."""
    counter = _CurveCounter(piece.asked)
    for one in piece.bags:
        positions, groups = np.array(one.positions, np.int64), np.array(one.groups, np.int64)
        with passed_over(one.deposit, LACKS):
            counter.add(one.bag.tables, piece.origin, positions, groups)
    for histogram in counter.found.histograms:
        histogram.trim()
    return counter.found


class _CurveCounter:
    """Fills the histograms with the curves of bags."""

    def __init__(self, asked: CurvesAsked) -> None:
        self.found = CurveCounts([Histogram() for _ in range(asked.groups)], np.zeros(asked.groups, np.int64))
        self._parameter, self._worst, self._sense = asked.parameter, asked.worst, asked.sense

    def add(self, tables: BagTables, origin: str, positions: Ints, groups: Ints) -> None:
        """Takes in a bag."""
        if origin == RECOMPUTED:
            self._recomputed(tables, positions, groups)
        else:
            self._packed(tables, origin, positions, groups)

    def _packed(self, tables: BagTables, origin: str, positions: Ints, groups: Ints) -> None:
        code = np.full(max(tables.count, int(positions.max(initial=-1)) + 1), -1)
        code[positions] = groups
        axes = {r["axis_id"]: r["frequencies_mhz"] for r in tables.table("axes").to_pylist() if r["frequencies_mhz"]}
        for table in _tables(tables, self._parameter, positions):
            group = code[table["position"].to_numpy()]
            wanted = (group >= 0) & pc.equal(table["origin"], origin).to_numpy()
            if not wanted.all():
                table, group = table.filter(pa.array(wanted)), group[wanted]
            if not table.num_rows:
                continue
            position = table["position"].to_numpy()
            np.add.at(self.found.records, group[np.unique(position, return_index=True)[1]], 1)
            self.found.skipped += self._count(table, position, group, axes)

    def _count(self, table: pa.Table, position: Ints, group: Ints, axes: dict[str, list[float]]) -> int:
        """Counts the curves of a table, those of one axis, group and number of decimals together; curves left out."""
        decimals = pc.fill_null(table["decimals"], -1).to_numpy()
        scaled, plain = one_chunk(table["scaled"]), one_chunk(table["values"])
        names, axis = coded(table["axis_id"])
        lengths = pc.fill_null(pc.coalesce(pc.list_value_length(scaled), pc.list_value_length(plain)), 0).to_numpy()
        kinds = np.stack([axis, group, decimals], axis=1)
        skipped = 0
        alike = bool((kinds == kinds[0]).all())
        for kind in kinds[:1] if alike else np.unique(kinds, axis=0):
            rows = None if alike else np.flatnonzero((kinds == kind).all(axis=1))
            frequencies = axes.get(names[int(kind[0])])
            length = lengths if rows is None else lengths[rows]
            fits = length == (len(frequencies) if frequencies else -1)
            if not fits.all():
                skipped += int((~fits).sum())
                rows = np.flatnonzero(fits) if rows is None else rows[fits]
            if frequencies is None or (rows is not None and not len(rows)):
                continue
            histogram = self.found.histograms[int(kind[1])]
            places = histogram.places(np.array(frequencies))
            of = plain if kind[2] < 0 else scaled
            flat = (of if rows is None else of.take(pa.array(rows))).flatten()
            owner = position if rows is None else position[rows]
            if kind[2] < 0:
                values = flat.to_numpy(zero_copy_only=False).reshape(-1, len(frequencies))
                histogram.add_reals(places, self._reduced(values, owner, np.nan))
                continue
            missing = flat.null_count > 0
            ints = (pc.fill_null(flat, _NONE) if missing else flat).to_numpy().reshape(-1, len(frequencies))
            ints = self._reduced(ints, owner, _NONE)
            there = (ints != _NONE) if missing else None
            histogram.add(places, ints if there is None else np.where(there, ints, 0), int(kind[2]), there)
        return skipped

    def _reduced(self, values: Any, owner: Ints, missing: Any) -> Any:
        """Curves (n, points), or the worst of each record at each frequency. owner: (n,), the record of each, in
        order; missing: what stands for a missing point."""
        if not self._worst:
            return values
        starts = np.flatnonzero(np.diff(owner, prepend=-1))
        if self._sense == "max":
            pick = np.fmax if missing is not None and missing != missing else np.maximum
            return pick.reduceat(values, starts, axis=0)
        if missing != missing:
            return np.fmin.reduceat(values, starts, axis=0)
        high = np.where(values == missing, 2**31 - 1, values)
        made = np.minimum.reduceat(high, starts, axis=0)
        return np.where(made == 2**31 - 1, missing, made)

    def _recomputed(self, tables: BagTables, positions: Ints, groups: Ints) -> None:
        wanted = dict(zip(positions.tolist(), groups.tolist(), strict=True))
        step = 128
        for low in range(int(positions[0]) // step * step, int(positions[-1]) + 1, step):
            here = [p for p in range(low, low + step) if p in wanted]
            if not here:
                continue
            for batch in tables.batches(low, low + step, step):
                group = np.full(len(batch), -1)
                group[[p - low for p in here]] = [wanted[p] for p in here]
                curves = grading.derived(batch, {self._parameter}).curves
                rows = curves.of(self._parameter, origin="derived")
                rows = rows[np.argsort(curves.record[rows], kind="stable")]
                of_record = np.unique(curves.record[rows])
                np.add.at(self.found.records, group[of_record[group[of_record] >= 0]], 1)
                for number in np.unique(group[group >= 0]).tolist():
                    histogram = self.found.histograms[number]
                    for block in curves.blocks(rows[group[curves.record[rows]] == number], most=sys.maxsize):
                        values = self._reduced(block.values, block.records, np.nan)
                        histogram.add_reals(histogram.places(block.mhz), values)


def _tables(tables: BagTables, parameter: str, positions: Ints) -> Iterator[pa.Table]:
    """Rows of one parameter, some row groups at a time; groups without a wanted record are not read."""
    for _, path in tables.sweep_files:
        file = tables.opened(path)
        listed = options.groups_holding(file, "parameter", parameter, parameter)
        if not listed:
            continue
        near = set(options.groups_holding(file, "position", int(positions[0]), int(positions[-1])))
        listed = [g for g in listed if g in near]
        if len(positions) < tables.count // 2:
            listed = [g for g in listed if _touched(file, g, positions)]
        for first in range(0, len(listed), _GROUPS):
            found = options.read_groups(path, listed[first : first + _GROUPS], _COLUMNS, file)
            mixed = pc.not_equal(found["parameter"], parameter)
            yield found.filter(pc.equal(found["parameter"], parameter)) if pc.any(mixed).as_py() else found


def _touched(file: Any, group: int, positions: Ints) -> bool:
    stats = file.metadata.row_group(group).column(0).statistics
    if stats is None or not stats.has_min_max:
        return True
    low, high = np.searchsorted(positions, [stats.min, stats.max + 1])
    return bool(high > low)
