"""The scalars of a batch as matrices: one row per record, one column per pair."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from archive.tables import Batch
from archive.tables.arrow import Bools, Ints, Reals, Words
from archive.vocabulary import PAIRS

CONDUCTORS = tuple(str(n) for n in range(1, 9))


@dataclass(frozen=True)
class Matrix:
    """Values and steps, NaN where there is none: one row per record, one column per subject."""

    values: Reals
    steps: Reals

    @property
    def present(self) -> Bools:
        """True for records that have at least one value, (size,)."""
        return np.asarray(~np.isnan(self.values).all(axis=1))


class ScalarView:
    """All measured scalars of a batch. A censored value (more than, less than) is no value here.

    Arrays as long as the readings table: rows (of the records table, -1 for none), quantity, subject, value, step,
    is_measured. size: number of records.
    """

    def __init__(self, batch: Batch, rows: Ints, size: int) -> None:
        table = batch["readings"]
        self.rows, self.size = rows, size
        self.quantity, self.subject, origin = (_words(table, c) for c in ("quantity", "subject", "origin"))
        values = table.column("value").to_numpy(zero_copy_only=False)
        self.value: Reals = np.where(pc.is_valid(table.column("censored")).to_numpy(), np.nan, values)
        self.step: Reals = table.column("step").to_numpy(zero_copy_only=False)
        self.is_measured: Bools = (origin == "measured") & (rows >= 0)
        self._derived: Bools = (origin == "derived") & (rows >= 0)
        self._made: dict[tuple[str, tuple[str, ...]], Matrix] = {}

    def matrix(self, quantity: str, subjects: tuple[str, ...]) -> Matrix:
        """Measured (else derived) values of a quantity by subject. The first value counts where there are two."""
        key = (quantity, subjects)
        if key in self._made:
            return self._made[key]
        out = np.full((2, self.size, len(subjects)), np.nan)
        mine = self.quantity == quantity
        for column, subject in enumerate(subjects):
            wanted = mine & (self.subject == subject)
            for origin in (self._derived, self.is_measured):
                at = np.flatnonzero(wanted & origin & ~np.isnan(self.value))[::-1]
                out[0, self.rows[at], column] = self.value[at]
                out[1, self.rows[at], column] = self.step[at]
        self._made[key] = Matrix(out[0], out[1])
        return self._made[key]

    def pairs(self, quantity: str) -> Matrix:
        """Values by pair 1-2, 3-6, 4-5, 7-8."""
        return self.matrix(quantity, PAIRS)

    def whole(self, quantity: str) -> Reals:
        """Value of the whole link (no subject), (size,)."""
        return self.matrix(quantity, ("",)).values[:, 0]

    def conductors(self, quantity: str) -> Matrix:
        """Values by conductor 1 to 8."""
        return self.matrix(quantity, CONDUCTORS)

    def of(self, quantity: str) -> Ints:
        """Rows of the readings table with a measured value of a quantity that is not censored."""
        return np.flatnonzero((self.quantity == quantity) & self.is_measured & ~np.isnan(self.value))

    def has(self, quantity: str) -> Bools:
        """True for records with any value of a quantity, (size,)."""
        out = np.zeros(self.size, dtype=bool)
        out[self.rows[(self.quantity == quantity) & (self.is_measured | self._derived)]] = True
        return out

    @property
    def length(self) -> Reals:
        """Length of each link in m: that of the whole link, else that of its shortest pair; NaN where there is none."""
        whole = self.whole("length")
        shortest = np.fmin.reduce(self.pairs("length").values, axis=1)
        return np.where(np.isnan(whole), shortest, whole)


def _words(table: pa.Table, column: str) -> Words:
    texts: Words = pc.fill_null(table.column(column), "").to_numpy(zero_copy_only=False)
    return texts.astype(object)
