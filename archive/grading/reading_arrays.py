"""The readings of a batch as arrays, with the quantities that are recomputed from others."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import pyarrow as pa

from archive import vocabulary
from archive.grading.arithmetic import Bools, Ints, Reals
from archive.grading.sweep_arrays import end_codes, lower_first
from archive.tables import Batch
from archive.tables.arrow import coded, reals, rows_of

PAIRSETS = ((0, 1), (2, 3))
"""Pairs that feed power together, by their place among the pairs: IEEE 802.3 alternatives A and B."""

_CENSORED = (">", "<")
_GIVEN = pa.array(("measured", "derived", "rebuilt"), pa.string())


@dataclass(frozen=True)
class ReadingArrays:
    """Readings of one quantity, each array (n,).

    record: place in the batch. subject: number in the batch's list of subjects (-1: the whole link). end: code.
    frequency: MHz, NaN where not reported. value. bound: 1 known only as more than the value, -1 as less, 0 exactly.
    resolution: how far rounding in the export can have moved it (NaN: not known). derived: recomputed.
    """

    record: Ints
    subject: Ints
    end: Ints
    frequency: Reals
    value: Reals
    bound: Ints
    resolution: Reals
    derived: bool = False

    def __len__(self) -> int:
        return len(self.record)

    def take(self, chosen: Ints | Bools) -> ReadingArrays:
        """Some of them."""
        return _mapped(self, lambda name: getattr(self, name)[chosen])


class ScalarReadings:
    """All readings of a batch. given: by quantity, as the export has them; best: recomputed where the parts are."""

    def __init__(self, batch: Batch) -> None:
        table = batch["readings"]
        self.records = len(batch)
        names, subject = coded(table.column("subject"))
        self.subjects: list[str] = [lower_first(name) for name in names]
        # A subject that the derived quantities name must have a number too.
        for name in (*vocabulary.PAIRS, *("/".join(vocabulary.PAIRS[i] for i in s) for s in PAIRSETS)):
            if name not in self.subjects:
                self.subjects.append(name)
        quantities, quantity = coded(table.column("quantity"))
        record = rows_of(table.column("record_id"), batch["records"].column("record_id"))
        value = reals(table.column("value"))
        usable = (record >= 0) & ~np.isnan(value) & (rows_of(table.column("origin"), _GIVEN) >= 0)
        bound = np.array([1, -1, 0])[rows_of(table.column("censored"), pa.array(_CENSORED, pa.string()))]
        whole = ReadingArrays(
            record,
            subject,
            end_codes(table.column("end")),
            reals(table.column("frequency_mhz")),
            value,
            bound,
            reals(table.column("step")) / 2,
        )
        self.given = {name: whole.take(usable & (quantity == code)) for code, name in enumerate(quantities)}
        self.best = dict(self.given)
        for name, fresh in (("delay_skew", self._skew()), ("resistance_unbalance", self._unbalance())):
            if fresh is not None and len(fresh):
                self.best[name] = fresh

    def beside(self, quantity: str) -> ReadingArrays | None:
        """As the export has a quantity of which best is recomputed; only for records where it is."""
        fresh, given = self.best.get(quantity), self.given.get(quantity)
        return None if fresh is None or given is None or not fresh.derived else given

    def rest(self, quantity: str) -> ReadingArrays | None:
        """As the export has a quantity, for the records in which it could not be recomputed."""
        given = self.beside(quantity)
        return None if given is None else given.take(~np.isin(given.record, self.best[quantity].record))

    def table(self, quantity: str, subjects: list[str]) -> tuple[Reals, Reals, Reals]:
        """Value, resolution and frequency by record and subject (records, subjects); NaN where it is not there.

        Of several readings the first counts; one that is only a bound does not.
        """
        value, resolution, frequency = (np.full((self.records, len(subjects)), np.nan) for _ in range(3))
        given = self.given.get(quantity)
        if given is None:
            return value, resolution, frequency
        column = np.full(len(self.subjects) + 1, -1)
        for i, name in enumerate(subjects):
            if name in self.subjects:
                column[self.subjects.index(name)] = i
        kept = np.flatnonzero((column[given.subject] >= 0) & (given.bound == 0))[::-1]
        at = given.record[kept], column[given.subject[kept]]
        value[at], resolution[at], frequency[at] = given.value[kept], given.resolution[kept], given.frequency[kept]
        return value, resolution, frequency

    def _skew(self) -> ReadingArrays | None:
        """Skew of a pair: its delay minus that of the fastest pair; needs all four at one frequency."""
        value, resolution, frequency = self.table("propagation_delay", list(vocabulary.PAIRS))
        same = (frequency == frequency[:, :1]).all(axis=1) | np.isnan(frequency).all(axis=1)
        rows = np.flatnonzero(same & ~np.isnan(value).any(axis=1))
        fastest = value[rows].argmin(axis=1)[:, None]
        moved = resolution[rows] + np.take_along_axis(resolution[rows], fastest, axis=1)
        return self._by_pair(rows, value[rows] - value[rows].min(axis=1, keepdims=True), moved, frequency[rows])

    def _unbalance(self) -> ReadingArrays | None:
        """|R1 - R2| / (R1 + R2) in per cent, of the conductors R1 and R2 of each pair (S26)."""
        contacts = [c for pair in vocabulary.PAIRS for c in pair.split("-")]
        value, resolution, _ = self.table("conductor_resistance", contacts)
        one, other = value[:, 0::2], value[:, 1::2]
        with np.errstate(invalid="ignore", divide="ignore"):
            percent = 100 * np.abs(one - other) / (one + other)
            moved = 100 * (resolution[:, 0::2] + resolution[:, 1::2]) / (one + other)
        rows = np.flatnonzero(np.isfinite(percent).all(axis=1))
        return self._by_pair(rows, percent[rows], moved[rows], np.full(percent[rows].shape, np.nan))

    def _by_pair(self, rows: Ints, value: Reals, resolution: Reals, frequency: Reals) -> ReadingArrays | None:
        if not len(rows):
            return None
        pairs = np.array([self.subjects.index(p) for p in vocabulary.PAIRS])
        n = value.size
        return ReadingArrays(
            np.repeat(rows, 4),
            np.tile(pairs, len(rows)),
            np.full(n, 2),
            frequency.ravel(),
            value.ravel(),
            np.zeros(n, np.int64),
            resolution.ravel(),
            True,
        )

    def pairsets(self, quantity: str) -> ReadingArrays | None:
        """Resistance of two pairs that feed power together: each way is a pair with its two wires in parallel, so a
        quarter of the sum of the loops of both pairs."""
        value, resolution, _ = self.table(quantity, list(vocabulary.PAIRS))
        parts = []
        for i, j in PAIRSETS:
            rows = np.flatnonzero(~np.isnan(value[:, [i, j]]).any(axis=1))
            name = self.subjects.index(f"{vocabulary.PAIRS[i]}/{vocabulary.PAIRS[j]}")
            n = len(rows)
            parts.append(
                ReadingArrays(
                    rows,
                    np.full(n, name),
                    np.full(n, 2),
                    np.full(n, np.nan),
                    (value[rows, i] + value[rows, j]) / 4,
                    np.zeros(n, np.int64),
                    (resolution[rows, i] + resolution[rows, j]) / 4,
                    True,
                )
            )
        return joined(parts) if sum(map(len, parts)) else None


def joined(parts: list[ReadingArrays]) -> ReadingArrays:
    """Several in one."""
    return _mapped(parts[0], lambda name: np.concatenate([getattr(part, name) for part in parts]))


def _mapped(readings: ReadingArrays, column: Callable[[str], Any]) -> ReadingArrays:
    names = ("record", "subject", "end", "frequency", "value", "bound", "resolution")
    return replace(readings, **{name: column(name) for name in names})
