"""Reading one parameter's curves of many records into histograms, bag after bag, as the bags hold them: packed."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from archive import grading
from archive.answers.rates.histogram import Histogram
from archive.store import Archive
from archive.store.checked_files import passed_over
from archive.store.counting.from_bag import Bags
from archive.store.parquet import BagTables, options
from archive.tables.arrow import Ints, coded, one_chunk
from archive.vocabulary.counted import counted

_COLUMNS = ["parameter", "position", "origin", "axis_id", "decimals", "scaled", "values"]
_GROUPS = 16
"""Row groups read together: some 250 records."""
_NONE = -(2**31)
"""Stands for a missing point; no scaled value is so small."""


@dataclass(frozen=True)
class Selected:
    """Records of one deposit. positions: (n,), rising; groups: (n,), number of the group of each."""

    deposit: str
    positions: Ints
    groups: Ints


class CurveCounter:
    """Fills one histogram per group with the curves of one parameter.

    histograms: one per group; records: (groups,), int64, how many records of each have curves. worst: of each record
    the worst at each frequency alone; sense: "max" or "min", of the parameter.
    """

    def __init__(self, parameter: str, groups: int, *, worst: bool, sense: str) -> None:
        self.histograms = [Histogram() for _ in range(groups)]
        self.records: Ints = np.zeros(groups, np.int64)
        self._parameter, self._worst, self._sense = parameter, worst, sense

    def count(
        self, archive: Archive, selected: Sequence[Selected], watch: Callable[[Iterable[Any]], Iterable[Any]] = iter
    ) -> list[str]:
        """Counts the curves of the selected records; returns notes for the reader.

        Measured curves count; where there are none, those that the export derived; where there are none either, they
        are recomputed from measured ones. Errors: Trouble for a damaged bag.
        """
        bags = Bags(archive)
        for origin in ("measured", "derived"):
            skipped = 0
            for one in watch(selected):
                with passed_over(one.deposit, "not all of its curves are counted"):
                    skipped += self._packed(bags.tables(one.deposit), origin, one)
            notes = [f"left out: {counted(skipped, 'curve')} not fitting the axis"] if skipped else []
            if self.records.any():
                return [*notes, "the curves are those that the export derived"] if origin == "derived" else notes
        for one in watch(selected):
            with passed_over(one.deposit, "not all of its curves are counted"):
                self._recomputed(bags.tables(one.deposit), one)
        return ["the curves were recomputed from measured ones"] if self.records.any() else []

    def _packed(self, tables: BagTables, origin: str, one: Selected) -> int:
        code = np.full(max(tables.count, int(one.positions.max(initial=-1)) + 1), -1)
        code[one.positions] = one.groups
        axes = {r["axis_id"]: r["frequencies_mhz"] for r in tables.table("axes").to_pylist() if r["frequencies_mhz"]}
        skipped = 0
        for table in _tables(tables, self._parameter, one.positions):
            group = code[table["position"].to_numpy()]
            wanted = (group >= 0) & pc.equal(table["origin"], origin).to_numpy()
            if not wanted.all():
                table, group = table.filter(pa.array(wanted)), group[wanted]
            if not table.num_rows:
                continue
            position = table["position"].to_numpy()
            np.add.at(self.records, group[np.unique(position, return_index=True)[1]], 1)
            skipped += self._count(table, position, group, axes)
        return skipped

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
            histogram = self.histograms[int(kind[1])]
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

    def _recomputed(self, tables: BagTables, one: Selected) -> None:
        wanted = dict(zip(one.positions.tolist(), one.groups.tolist(), strict=True))
        step = 128
        for low in range(int(one.positions[0]) // step * step, int(one.positions[-1]) + 1, step):
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
                np.add.at(self.records, group[of_record[group[of_record] >= 0]], 1)
                for number in np.unique(group[group >= 0]).tolist():
                    histogram = self.histograms[number]
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
