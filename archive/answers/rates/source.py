"""The records ready for counting as DuckDB sees them, and the records that a person chooses of them."""

from __future__ import annotations

import dataclasses
import re
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import duckdb

from archive.answers.archive_files import archive_names, read_parquet
from archive.answers.rates.fields import SAID_AS, UNKNOWN, GroupField, chosen, length_bands, nearest
from archive.answers.rates.place_doubts import ACCEPTED_IN_DOUBT, place_doubts
from archive.errors import Trouble
from archive.store import Archive
from archive.store.catalogue.filters import Filters
from archive.store.counting.blocks import Counting, counting
from archive.store.counting.columns import BITS, STATES, counted_parameters
from archive.store.roles import Role

BASES = {"best": "state", "program": "state_program", "reported": "state_reported"}
"""Whose verdict counts, and the column that says what came of it."""
COHORTS = ("first-test",)
_OF_CELLS = {"job", "site", "cable_type", "limit", "serial"}
DECIDED = BITS["passed"] | BITS["failed"]


@dataclass(frozen=True)
class Choice:
    """Which records, whose verdicts. only: fields (see fields.FIELDS) and the value each must have.

    verdicts: "best" (this program's on full sweeps; of records without curves the instrument's, since such a record
    can fail here but never pass), "program" (full sweeps alone), "reported" (the instruments' alone). role: which
    record of a link counts for the final rate. cohort: "first-test" counts what became of a link where its first test
    belongs, whoever tested it last; None counts every test where it belongs itself.
    """

    filters: Filters = field(default_factory=Filters)
    only: Sequence[tuple[str, str]] = ()
    verdicts: str = "best"
    length_edges: Sequence[float] | None = None
    role: Role = "current"
    cohort: str | None = None

    @property
    def of_cells(self) -> bool:
        """Whether cells tell these records apart, so that not every record need be looked at."""
        asked = {f.name for f in dataclasses.fields(Filters) if getattr(self.filters, f.name) is not None}
        return self.length_edges is None and self.cohort is None and asked <= _OF_CELLS

    @property
    def column(self) -> str:
        """Column of the verdicts that are counted. Errors: Trouble."""
        if self.verdicts not in BASES:
            raise Trouble(
                "no such verdicts", code="rates.unknown-verdicts", found=self.verdicts, expected=", ".join(BASES)
            )
        return BASES[self.verdicts]

    @property
    def state(self) -> str:
        """Expression of the bits that are counted, over records `r`. Errors: Trouble."""
        column = f"r.{self.column}"
        if self.role == "current" or self.cohort is not None:
            return column
        shift = BITS["accepted"].bit_length() - 1  # the bit of the role that is asked for takes the place of current
        doubt = f"({column} >> {ACCEPTED_IN_DOUBT.bit_length() - BITS['in_doubt'].bit_length()}) & {BITS['in_doubt']}"
        others = f"({column} & {~BITS['current'] & 0xFFFFFF})"  # the operators of DuckDB have one precedence
        return f"({others} | (({column} >> {shift}) & {BITS['current']}) | ({doubt}))"

    @property
    def narrowed(self) -> bool:
        """Whether not all records of the archive are chosen."""
        return bool(self.filters) or bool(self.only)

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
                raise Trouble(f"records cannot be chosen by {_words(one)}", code="rates.not-a-filter")
            if text.strip().casefold() == UNKNOWN:
                clauses.append(f"coalesce(CAST({one.sql} AS VARCHAR), '{UNKNOWN}') = '{UNKNOWN}'")
                continue
            values.append(_parsed(one, text))
            clauses.append(f"{one.sql} = ${len(values)}")
        return " AND ".join(clauses), values


def _parsed(one: GroupField, text: str) -> Any:
    try:
        return one.parse(text)
    except ValueError:
        raise Trouble(
            f"no such {_words(one)}",
            code="rates.not-a-value",
            found=repr(text),
            expected=SAID_AS.get(one.name, ""),
        ) from None


def _words(one: GroupField) -> str:
    return one.name.replace("_", " ")


_FILTERED = {one.name: one for one in chosen(["cable_type", "site", "job"])}
"""Fields that filters choose by, too."""


_APART = 1 << 40
"""Rows of the next archive begin so much later, where several are asked as one."""


class CountingSource:
    """A DuckDB connection that reads the files of one archive or of several; nothing else is put into it.

    files: of all of them together. job: SQL of the job of a record `r`, which is another in every archive.
    """

    def __init__(
        self, parts: Sequence[tuple[str, Counting]], doubts: Sequence[Mapping[int, tuple[int, int]]] = ()
    ) -> None:
        """doubts: of each archive, what becomes of the states of records (see place_doubts)."""
        self._parts = parts
        self._doubts = [bool(found) for found in doubts] or [False] * len(parts)
        self._instead: str | None = None
        self.files = Counting(
            tuple(p for _, f in parts for p in f.records),
            tuple(p for _, f in parts for p in f.cells),
            tuple(p for _, f in parts for p in f.failures),
            tuple(n for n in counted_parameters() if any(n in f.parameters for _, f in parts)),
            all(f.alike for _, f in parts) and len(parts) < 2,
        )
        self.job = "r.job_id" if len(parts) < 2 else "(r.archive || '/' || r.job_id)"
        self.db = duckdb.connect(config={"autoinstall_known_extensions": "false"})
        self.db.execute("SET enable_progress_bar = false")  # it would be drawn among the rows
        if any(self._doubts):
            self.db.execute("CREATE TEMP TABLE doubts(part INTEGER, row BIGINT, gone INTEGER, come INTEGER)")
            listed = [(part, row, *how) for part, rows in enumerate(doubts) for row, how in rows.items()]
            self.db.executemany("INSERT INTO doubts VALUES (?, ?, ?, ?)", listed)

    @classmethod
    def of(cls, archives: Archive | Sequence[Archive], watch: Callable[[Any], Any] = iter) -> CountingSource:
        """Of one archive or several, their counting files brought up to date. Errors: Trouble for two of one name."""
        listed = [archives] if isinstance(archives, Archive) else list(archives)
        parts = [(n, counting(a, watch)) for n, a in zip(archive_names(listed), listed, strict=True)]
        return cls(parts, [place_doubts(a) for a in listed])

    @property
    def name(self) -> str:
        """What the archives are called."""
        return ", ".join(name for name, _ in self._parts)

    def _table(self, files: str, numbers: Sequence[str], alike: Callable[[Counting], bool]) -> str:
        """The files of all archives as one table with the column archive. numbers: columns that are to stay apart."""
        parts = []
        for place, (name, found) in enumerate(self._parts):
            listed = getattr(found, files)
            if not listed:
                continue
            apart = ", ".join(f"{n}::BIGINT + {place * _APART} AS {n}" for n in numbers)
            columns = f"* REPLACE ({apart})" if apart and len(self._parts) > 1 else "*"
            quoted = name.replace("'", "''")
            table = read_parquet(listed, alike(found))
            if files == "records" and self._doubts[place]:
                table = _without_doubtful(table, place)
            parts.append(f"SELECT {columns}, '{quoted}' AS archive FROM {table}")
        return f"({' UNION ALL BY NAME '.join(parts)})"

    def records_of(self, choice: Choice) -> str:
        """The records of a choice as a table that can stand after FROM, each row a test; in a cohort one row for the
        first test of each link and one for what became of the link, both with the columns of the first test."""
        if choice.cohort is None:
            return self.records
        unit, final = ("unit", "current") if choice.role == "current" else ("accepted_unit", "accepted")
        shift = BITS[final].bit_length() - 1
        columns = {
            column: f"(c.{column} & {0xFFFFFF & ~(BITS['first'] | BITS['current'])} "
            f"| ((c.{column} >> {shift}) & {BITS['current']}))"
            for column in BASES.values()
        }
        became = ", ".join(f"{made} AS {column}" for column, made in columns.items())
        begun = ", ".join(
            f"({c} & {0xFFFFFF & ~BITS['current'] & ~BITS['copied'] & ~BITS['in_doubt']})::INTEGER AS {c}"
            for c in BASES.values()
        )
        first = f"f.state & {BITS['first']} > 0"
        return (
            f"(SELECT * REPLACE ({begun}) FROM {self.records} f WHERE {first} UNION ALL "
            f"SELECT f.* REPLACE ({became}, c.leading_margin_db AS leading_margin_db) FROM {self.records} f "
            f"JOIN {self.records} c ON c.row = f.{unit} WHERE {first})"
        )

    def table(self, choice: Choice) -> tuple[str, str]:
        """What stands after FROM, and how many tests a row of it is: cells where they suffice, else records."""
        of_cells = choice.of_cells and self._instead is None and not any(self._doubts)
        return (self.cells, "r.number") if of_cells else (self.records_of(choice), "1")

    def answer_from(self, table: str) -> None:
        """Takes a table of the database, with the same columns, in the place of the records that the files hold."""
        self._instead = table

    @property
    def records(self) -> str:
        """The records as a table that can stand after FROM."""
        if self._instead is not None:
            return self._instead
        return self._table("records", ("row", "unit", "accepted_unit"), lambda files: files.alike)

    @property
    def cells(self) -> str:
        """The cells as a table that can stand after FROM."""
        return self._table("cells", (), lambda _files: True)

    @property
    def failures(self) -> str:
        """The failures as a table that can stand after FROM."""
        return self._table("failures", ("row",), lambda _files: True)

    def rows(self, sql: str, values: Sequence[Any] = ()) -> list[tuple[Any, ...]]:
        """Rows of a query."""
        return self.db.execute(sql, list(values)).fetchall()

    def arrow(self, sql: str, values: Sequence[Any] = ()) -> Any:
        """The result of a query as an Arrow table."""
        found = self.db.sql(sql, params=list(values))
        # the name that DuckDB had for it until version 2
        return found.to_arrow_table() if hasattr(found, "to_arrow_table") else found.fetch_arrow_table()

    def arrays(self, sql: str, values: Sequence[Any] = ()) -> dict[str, Any]:
        """The columns of a query as arrays; columns of numbers without nulls alone. Needs no Arrow."""
        return dict(self.db.execute(sql, list(values)).fetchnumpy())

    def refuse_unknown(self, choice: Choice) -> None:
        """Errors: Trouble for a value to choose by that no record of the archive has, with the nearest there are."""
        if not self.files.records:
            return
        asked = [(chosen([name])[0], text) for name, text in choice.only]
        for one, text in asked:
            if not one.sql:
                raise Trouble(f"records cannot be chosen by {_words(one)}", code="rates.not-a-filter")
            if one.name != "length_band" and text.strip().casefold() != UNKNOWN:
                self._refuse(one, text, f"{one.sql} = $1", [_parsed(one, text)])
        for name, one in _FILTERED.items():
            text = getattr(choice.filters, name)
            if text is not None:
                clause, values = Filters(**{name: text}).where()
                self._refuse(one, text, re.sub(r"\?(\d+)", r"$\1", clause), values)

    def _refuse(self, one: GroupField, text: str, clause: str, values: Sequence[Any]) -> None:
        table = self._instead or self.cells
        if self.rows(f"SELECT 1 FROM {table} r WHERE {clause} LIMIT 1", values):
            return
        known = [one.shown(r[0]) for r in self.rows(f"SELECT DISTINCT {one.sql} FROM {self.cells} r ORDER BY 1")]
        raise Trouble(
            f"no record that counts has this {_words(one)}",
            code="rates.not-a-value",
            found=repr(text),
            expected=", ".join(nearest(text, known)) or "a value of `--by " + one.name.replace("_", "-") + "`",
        )


def _without_doubtful(table: str, part: int) -> str:
    """The records of an archive with the states that those have which are in doubt between scheduled places."""
    states = ", ".join(f"((d.{c} & ~coalesce(b.gone, 0)) | coalesce(b.come, 0))::INTEGER AS {c}" for c in STATES)
    return (
        f"(SELECT d.* REPLACE ({states}) FROM {table} d LEFT JOIN (SELECT * FROM doubts WHERE part = {part}) b "
        "ON b.row = d.row)"
    )


def grouped(fields: Iterable[GroupField]) -> tuple[str, str]:
    """Columns k0, k1 ... of a SELECT, each followed by a comma, and what to group by."""
    listed = list(fields)
    names = ", ".join(f"k{i}" for i in range(len(listed)))
    return "".join(f"{f.sql} AS k{i}, " for i, f in enumerate(listed)), names
