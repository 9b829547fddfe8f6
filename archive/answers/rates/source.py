"""The records ready for counting as DuckDB sees them, and the records that a person chooses of them."""

from __future__ import annotations

import dataclasses
import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from typing import Any

import duckdb

from archive.answers.rates.fields import GroupField, chosen, length_bands
from archive.answers.views import read_parquet
from archive.errors import Trouble
from archive.store.catalogue.filters import Filters
from archive.store.counting.blocks import Counting
from archive.store.counting.columns import BITS
from archive.store.roles import Role

BASES = {"best": "state", "program": "state_program", "reported": "state_reported"}
"""Whose verdict counts, and the column that says what came of it."""


_OF_CELLS = {"job", "site", "cable_type", "limit", "serial"}


@dataclass(frozen=True)
class Choice:
    """Which records, whose verdicts. only: fields (see fields.FIELDS) and the value each must have.

    verdicts: "best" (this program's on full sweeps; of records without curves the instrument's, since such a record
    can fail here but never pass), "program" (full sweeps alone), "reported" (the instruments' alone). role: which
    record of a link counts for the final rate.
    """

    filters: Filters = field(default_factory=Filters)
    only: Sequence[tuple[str, str]] = ()
    verdicts: str = "best"
    length_edges: Sequence[float] | None = None
    role: Role = "current"

    @property
    def of_cells(self) -> bool:
        """Whether cells tell these records apart, so that not every record need be looked at."""
        asked = {f.name for f in dataclasses.fields(Filters) if getattr(self.filters, f.name) is not None}
        return self.length_edges is None and asked <= _OF_CELLS

    @property
    def state(self) -> str:
        """Column of the bits that are counted. Errors: Trouble."""
        if self.verdicts not in BASES:
            raise Trouble(
                "no such verdicts", code="rates.unknown-verdicts", found=self.verdicts, expected=", ".join(BASES)
            )
        column = f"r.{BASES[self.verdicts]}"
        if self.role == "current":
            return column
        shift = BITS["accepted"].bit_length() - 1  # the bit of the role that is asked for takes the place of current
        return f"({column} & {~BITS['current'] & 0x7FFF} | ({column} >> {shift}) & {BITS['current']})"

    def where(self) -> tuple[str, list[Any]]:
        """Clause over records `r` that count as tests, and its values."""
        if self.length_edges is not None:
            length_bands(self.length_edges)
        clause, values = self.filters.where()
        clauses = [f"r.state & {BITS['live']} > 0"]
        if clause != "1":
            clauses.append(re.sub(r"\?(\d+)", r"$\1", clause))
        for name, text in self.only:
            (one,) = chosen([name], self.length_edges)
            if not one.sql:
                raise Trouble(f"records cannot be chosen by {one.name}", code="rates.not-a-filter")
            try:
                values.append(one.parse(text))
            except ValueError:
                raise Trouble(
                    f"no such {one.name.replace('_', ' ')}", code="rates.not-a-value", found=repr(text)
                ) from None
            clauses.append(f"{one.sql} = ${len(values)}")
        return " AND ".join(clauses), values


class CountingSource:
    """A DuckDB connection that reads the files of a Counting and nothing else is put into."""

    def __init__(self, files: Counting) -> None:
        self.files = files
        self.db = duckdb.connect(config={"autoinstall_known_extensions": "false"})
        self.db.execute("SET enable_progress_bar = false")  # it would be drawn among the rows

    @property
    def records(self) -> str:
        """The records as a table that can stand after FROM."""
        return read_parquet(self.files.records, self.files.alike)

    @property
    def cells(self) -> str:
        """The cells as a table that can stand after FROM."""
        return read_parquet(self.files.cells, True)

    @property
    def failures(self) -> str:
        """The failures as a table that can stand after FROM."""
        return read_parquet(self.files.failures, True)

    def rows(self, sql: str, values: Sequence[Any] = ()) -> list[tuple[Any, ...]]:
        """Rows of a query."""
        return self.db.execute(sql, list(values)).fetchall()


def grouped(fields: Iterable[GroupField]) -> tuple[str, str]:
    """Columns k0, k1 ... of a SELECT, each followed by a comma, and what to group by."""
    listed = list(fields)
    names = ", ".join(f"k{i}" for i in range(len(listed)))
    return "".join(f"{f.sql} AS k{i}, " for i, f in enumerate(listed)), names
