"""What the rules over records look at: one batch, with its columns as arrays and each shared computation done once."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from datetime import date
from functools import cached_property, wraps
from typing import Any, TypeVar

import numpy as np
import numpy.typing as npt
import pyarrow as pa
import pyarrow.compute as pc

from archive.tables import Batch
from archive.tables.arrow import Bools, Ints, Reals, Words, joined, one_chunk, reals, rows_of
from archive.tables.curves import CurveArrays
from archive.tables.local_places import local_places
from archive.validation import catalogue
from archive.validation.look.curve_stats import CurveStats, axis_ends, places, stats
from archive.validation.look.limits_of import LimitsOf
from archive.validation.look.local_times import local_times
from archive.validation.look.loss_fit import LossFit, fit
from archive.validation.look.scalars import ScalarView
from archive.vocabulary import cables
from archive.vocabulary.places import PLACE, Place, place

Made = TypeVar("Made")


class RecordLook:
    """One batch as the rules see it. Every array over records is as long as the records table, in its order.

    today: the day that counts as today, datetime64[D].
    """

    def __init__(self, batch: Batch, today: date | str) -> None:
        self.batch = batch
        self.records = batch["records"]
        self.size = len(batch)
        self.today = np.datetime64(today, "D")
        self.shared: dict[str, Any] = {}

    def part(self, rows: Sequence[int]) -> RecordLook:
        """The same look at some records alone, in their order."""
        if len(rows) == self.size:
            return self
        return RecordLook(self.batch.select(self.ids.take(pa.array(rows)).to_pylist()), self.today.item())

    def names(self, rows: Ints) -> tuple[pa.Array, pa.Array]:
        """Record ids and link labels of rows, two text arrays."""
        at = pa.array(rows)
        return self.ids.take(at), one_chunk(self.records.column("link_label")).take(at)

    @cached_property
    def ids(self) -> pa.Array:
        """Record ids (text)."""
        return one_chunk(self.records.column("record_id"))

    def rows_for(self, table: str) -> Ints:
        """Row of the records table for each row of another table, -1 where there is none."""
        return rows_of(self.batch[table].column("record_id"), self.ids)

    def with_rows(self, rows: Ints, where: Bools | bool = True) -> Bools:
        """True for records that one of some rows of another table (rows_for), at which `where` holds, belongs to."""
        out = np.zeros(self.size, dtype=bool)
        out[rows[(rows >= 0) & where]] = True
        return out

    def words(self, column: str, table: str = "records") -> Words:
        """A text column, "" where null."""
        return words_of(self.batch[table].column(column))

    def reals(self, column: str, table: str = "records") -> Reals:
        """A numeric column as float64; a whole number beyond 2^53 is rounded."""
        return reals(pc.cast(self.batch[table].column(column), pa.float64(), safe=False))

    def flags(self, column: str, table: str = "records") -> Bools:
        """A column of true and false, false where null."""
        return np.array(pc.fill_null(self.batch[table].column(column), False).to_numpy(), dtype=bool)

    def is_null(self, column: str, table: str = "records") -> Bools:
        """True where a cell is null or a blank text."""
        cells = self.batch[table].column(column)
        nulls = pc.is_null(cells)
        if pa.types.is_string(cells.type):
            nulls = pc.or_(nulls, pc.equal(pc.fill_null(pc.utf8_trim_whitespace(cells), ""), ""))
        return np.asarray(nulls.to_numpy(), dtype=bool)

    def joined(self, key: str, table: str, column: str) -> Words:
        """For each record the text that a shared row holds: words("..."), through a key column of records."""
        shared = self.batch[table]
        return words_of(joined(self.records.column(key), shared.column(shared.column_names[0]), shared.column(column)))

    def of_unit(self, end: str, column: str) -> Words:
        """A column of the instrument at one end ("local" or "remote")."""
        return self.joined(f"{end}_instrument_id", "instruments", column)

    @cached_property
    def local_places(self) -> list[Place]:
        """Of each record the place of its local end, in the form in which places are compared."""
        made = {names: place(dict(zip(PLACE, names, strict=True))) for names in dict.fromkeys(self.local_names)}
        return [made[names] for names in self.local_names]

    @cached_property
    def local_names(self) -> list[Place]:
        """The same as it is written."""
        named = local_places(self.batch.__getitem__)
        return list(zip(*(words_of(named[name]) for name in PLACE), strict=True))

    @cached_property
    def tested(self) -> tuple[npt.NDArray[np.datetime64], npt.NDArray[np.str_]]:
        """Local time of each test (datetime64[s], NaT where none) and its precision."""
        return local_times(self.records.column("tested_local"))

    @cached_property
    def is_copper(self) -> Bools:
        """True for balanced copper cabling; a record that names no medium counts as copper if it has pairs."""
        medium = self.words("medium")
        return np.asarray((medium == "copper") | ((medium == "") & self.has_pairs))

    @cached_property
    def has_pairs(self) -> Bools:
        """True where a record has copper curves or readings by pair."""
        over_frequency = axis_ends(self.curves)[2] > 0
        return self.with_rows(self.curves.record, over_frequency) | self.with_rows(self.readings.rows)

    @cached_property
    def is_full_sweep(self) -> Bools:
        """True where the record says that it holds whole curves."""
        return np.asarray(self.words("evidence") == "full-sweep")

    @cached_property
    def curves(self) -> CurveArrays:
        """The curves of the batch."""
        return self.batch.curves

    @cached_property
    def stats(self) -> CurveStats:
        """Smallest and largest value of each curve."""
        return stats(self.curves)

    @cached_property
    def is_measured(self) -> Bools:
        """True for measured curves over frequency that fit their axis, over the rows of the sweeps table."""
        return self.curves.mask("origin", "measured") & self.curves.fits_mhz

    def places(self, curves: Ints) -> list[str]:
        """Rows of the sweeps table by name, for findings: NEXT local 1-2/3-6."""
        return places(self.curves, curves)

    @cached_property
    def loss_fit(self) -> LossFit:
        """Insertion loss against the shape of a cable. Its two numbers are those of the catalogue."""
        shape = catalogue.rule("insertion-loss-not-of-cable").tolerances
        return fit(self.curves, shape["highest_mhz"], catalogue.rule("insertion-loss-falls").tolerances["bands"])

    @cached_property
    def readings(self) -> ScalarView:
        """The scalars of the batch."""
        return ScalarView(self.batch, self.rows_for("readings"), self.size)

    @cached_property
    def limits(self) -> LimitsOf:
        """The limit of each record."""
        days = np.array([text[:10] for text in self.words("tested_local")], dtype=object)
        words, configuration = self.words("limit_found"), self.words("configuration")
        optical = None
        if (glass := self.words("medium") == "fiber").any():
            classes = [cables.known(word).get("class", "-") for word in self.words("cable_type")]
            named = [f"{c} {g}" for c, g in zip(classes, self.words("connector_grade"), strict=True)]
            optical = np.where(glass, np.array(named, dtype=object), "")
        return LimitsOf(words, configuration, days, self.reals("connections"), optical)


def words_of(column: pa.ChunkedArray | pa.Array) -> Words:
    """A text column as an object array of str, "" where null."""
    texts: Words = pc.fill_null(column, "").to_numpy(zero_copy_only=False)
    return texts.astype(object)


def once(make: Callable[[RecordLook], Made]) -> Callable[[RecordLook], Made]:
    """What several rules need of a look is made by the first of them that asks."""

    @wraps(make)
    def made(look: RecordLook) -> Made:
        if make.__qualname__ not in look.shared:
            look.shared[make.__qualname__] = make(look)
        known: Made = look.shared[make.__qualname__]
        return known

    return made
