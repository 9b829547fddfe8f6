"""What the rules look at: one batch, with its columns as arrays and each shared computation done once."""

from __future__ import annotations

from functools import cached_property
from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from archive.tables import Batch
from archive.validation import catalogue
from archive.validation.arrow import one
from archive.validation.curves import Curves
from archive.validation.limits_of import LimitsOf
from archive.validation.loss import LossFit, fit
from archive.validation.readings import Readings
from archive.validation.times import local_times


class Look:
    """One batch as the rules see it. Every array over records is as long as the records table, in its order.

    today: the day that counts as today, datetime64[D].
    """

    def __init__(self, batch: Batch, today: Any) -> None:
        self.batch = batch
        self.records = batch["records"]
        self.size = len(batch)
        self.today = np.datetime64(today, "D")
        self.shared: dict[str, Any] = {}

    @cached_property
    def all_rows(self) -> Any:
        """Row numbers of all records."""
        return np.arange(self.size)

    @cached_property
    def ids(self) -> Any:
        """Record ids, an Arrow array."""
        return one(self.records.column("record_id"))

    def rows_for(self, table: str) -> Any:
        """Row of the records table for each row of another table, -1 where there is none."""
        column = self.batch[table].column("record_id")
        found = pc.index_in(column, value_set=self.ids)
        return pc.fill_null(found, -1).to_numpy().astype(np.int64)

    def words(self, column: str, table: str = "records") -> Any:
        """A text column as an object array of str, "" where null."""
        return pc.fill_null(self.batch[table].column(column), "").to_numpy(zero_copy_only=False).astype(object)

    def reals(self, column: str, table: str = "records") -> Any:
        """A numeric column as float64, NaN where null; a whole number beyond 2^53 is rounded."""
        cast = pc.cast(self.batch[table].column(column), pa.float64(), safe=False)
        return cast.to_numpy(zero_copy_only=False) if hasattr(cast, "num_chunks") else np.asarray(cast)

    def is_null(self, column: str, table: str = "records") -> Any:
        """True where a cell is null or a blank text."""
        cells = self.batch[table].column(column)
        nulls = pc.is_null(cells)
        if pa.types.is_string(cells.type):
            nulls = pc.or_(nulls, pc.equal(pc.fill_null(pc.utf8_trim_whitespace(cells), ""), ""))
        return nulls.to_numpy().astype(bool)

    def joined(self, key: str, table: str, column: str) -> Any:
        """For each record the text that a shared row holds: words("..."), through a key column of records."""
        shared = self.batch[table]
        key_column = shared.column_names[0]
        at = pc.index_in(self.records.column(key), value_set=one(shared.column(key_column)))
        values = pc.fill_null(one(shared.column(column)), "")
        taken = pc.fill_null(values.take(one(at) if hasattr(at, "num_chunks") else at), "")
        return taken.to_numpy(zero_copy_only=False).astype(object)

    @cached_property
    def tested(self) -> tuple[Any, Any]:
        """Local time of each test (datetime64[s], NaT where none) and its precision."""
        return local_times(self.records.column("tested_local"))

    @cached_property
    def is_copper(self) -> Any:
        """True for balanced copper cabling; a record that names no medium counts as copper if it has pairs."""
        medium = self.words("medium")
        return (medium == "copper") | ((medium == "") & self.has_pairs)

    @cached_property
    def has_pairs(self) -> Any:
        """True where a record has copper curves or readings by pair."""
        out = self.curves.present.copy()
        rows = self.readings.rows
        out[rows[rows >= 0]] = True
        return out

    @cached_property
    def is_full_sweep(self) -> Any:
        """True where the record says that it holds whole curves."""
        return self.words("evidence") == "full-sweep"

    @cached_property
    def curves(self) -> Curves:
        """The curves of the batch."""
        return Curves(self.batch, self.rows_for("sweeps"), self.size)

    @cached_property
    def loss_fit(self) -> LossFit:
        """Insertion loss against the shape of a cable. Its two numbers are those of the catalogue."""
        shape = catalogue.rule("insertion-loss-not-of-cable").tolerances
        return fit(self.curves, shape["highest_mhz"], catalogue.rule("insertion-loss-falls").tolerances["bands"])

    @cached_property
    def readings(self) -> Readings:
        """The scalars of the batch."""
        return Readings(self.batch, self.rows_for("readings"), self.size)

    @cached_property
    def limits(self) -> LimitsOf:
        """The limit of each record."""
        days = np.array([text[:10] for text in self.words("tested_local")], dtype=object)
        words, configuration = self.words("limit_found"), self.words("configuration")
        return LimitsOf(words, configuration, days, self.reals("connections"))
