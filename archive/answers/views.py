"""Read-only SQL over an archive: DuckDB over views that are described in schemas/views.toml.

A query is one SELECT. It runs in a database in memory that may read the Parquet files of the views it names and
nothing else: no other file, no extension, no variable of Python, and nothing can be written.
"""

from __future__ import annotations

import json
import os
import re
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import contextmanager
from functools import cached_property
from pathlib import Path
from threading import Timer
from typing import Any

import duckdb
import pyarrow as pa

from archive import schemas
from archive.answers.archive_files import archive_names, quoted, read_parquet
from archive.answers.query_bounds import THREADS, QueryBounds
from archive.errors import Trouble
from archive.store import Archive
from archive.store.assessments import statements
from archive.store.checked_files import passed_over
from archive.store.counting.blocks import Counting, counting
from archive.store.counting.columns import GRADED, PROVISIONAL, REPORTED, of_parameter
from archive.store.counting.from_bag import Bags
from archive.store.events.cases import cases
from archive.store.ledger import LedgerEntry
from archive.tables import schema

_LOCKED = (
    "SET enable_progress_bar = false",
    "SET temp_directory = ''",
    "SET python_enable_replacements = false",
    "SET autoinstall_known_extensions = false",
    "SET autoload_known_extensions = false",
    "SET enable_external_access = false",
    "SET lock_configuration = true",
)
_WORD = re.compile(r"\w+")
_NO_ROWS = "WHERE false"
_GROWN = ("grades", "verdicts")
"""Tables that had columns added since the first archives: bags of earlier days do not have them."""


_OF_RUN = {
    "assessment": "run of `muniment regrade` that says so",
    "entry": "its ledger entry; later runs have higher numbers",
    "latest": "no later run says anything of this record against this limit",
}


def views() -> dict[str, dict[str, Any]]:
    """Every view by name: meaning and columns with their meanings."""
    declared, tables = schemas.load("views.toml"), schemas.load("tables.toml")["tables"]
    out = {}
    for name, view in declared.items():
        if "table" not in view:
            columns = dict(view["columns"])
            if name == "links":
                columns = {**declared["records"]["columns"], **columns}
            out[name] = {"meaning": view["meaning"], "columns": columns}
            continue
        table = tables[view["table"]]
        columns = {"deposit": "deposit"}
        if view.get("assessed"):
            columns = {**_OF_RUN, "deposit": "deposit of the record"}
        if "record_id" in table["columns"]:
            columns["position"] = "place of the record in it"
        for column, (_, unit, _, meaning, *_) in table["columns"].items():
            columns[column] = f"{meaning}, {unit}" if unit else meaning
        out[name] = {"meaning": view.get("meaning", table["meaning"]), "columns": columns}
    return out


class Query:
    """One query, ready to run.

        with Query(archive, "SELECT category, count(*) FROM links GROUP BY ALL") as query:
            query.columns, list(query.rows())      # or query.arrow(), a pyarrow.RecordBatchReader

    Of several archives, each view has the rows of all, and a column `archive`: numbers such as unit are of one archive
    alone. bounds: of memory and time; time counts from the first row on. Errors: Trouble for anything but one SELECT,
    for what DuckDB cannot make sense of, for a bound that is reached, and for a damaged archive.
    """

    def __init__(
        self,
        archives: Archive | Sequence[Archive],
        sql: str,
        *,
        watch: Callable[[Iterable[int]], Iterable[int]] = iter,
        bounds: QueryBounds | None = None,
    ) -> None:
        self._sql = sql
        self._bounds = bounds or QueryBounds()
        self._late = False
        self._timer = Timer(self._bounds.seconds, self._interrupt)
        self._timer.daemon = True
        self._db = duckdb.connect()
        self._check()
        named = {w.lower() for w in _WORD.findall(sql)}
        listed = [archives] if isinstance(archives, Archive) else list(archives)
        names = archive_names(listed)
        makers = [_Makers(a, self._db, watch, f"_{place}") for place, a in enumerate(listed)]
        wanted = [name for name in schemas.load("views.toml") if name in named]
        made = {name: _of_all(names, [m.of(name) for m in makers]) for name in wanted}
        paths = ", ".join(quoted(p) for m in makers for p in dict.fromkeys(m.paths))
        self._db.execute(f"SET allowed_paths = [{paths}]")
        self._db.execute(f"SET memory_limit = '{self._bounds.memory_mb}MB'")
        self._db.execute(f"SET threads = {min(os.cpu_count() or 1, THREADS)}")
        for statement in _LOCKED:
            self._db.execute(statement)
        for name, text in made.items():
            self._db.execute(f"CREATE VIEW {name} AS {text}")

    def __enter__(self) -> Query:
        return self

    def __exit__(self, *_: object) -> None:
        self._timer.cancel()
        self._db.close()

    def _interrupt(self) -> None:
        self._late = True
        self._db.interrupt()

    @contextmanager
    def told(self) -> Iterator[None]:
        """Around whatever takes rows of the result. Errors: Trouble for what DuckDB and Arrow raise."""
        try:
            yield
        except (duckdb.OutOfMemoryException, MemoryError):
            raise self._bounds.too_large() from None
        except (duckdb.Error, pa.ArrowException, OSError) as error:
            if self._late:
                raise self._bounds.too_slow() from None
            if isinstance(error, duckdb.Error):
                raise self._trouble(error) from None
            if "Out of Memory" in str(error):
                raise self._bounds.too_large() from None
            raise

    @cached_property
    def columns(self) -> list[str]:
        """Names of the columns; runs the query."""
        self._timer.start()
        with self.told():
            self._db.execute(self._sql)
            return [str(d[0]) for d in self._db.description or ()]

    def rows(self) -> Iterator[tuple[Any, ...]]:
        """Rows, some at a time; once."""
        columns = self.columns
        while columns:
            with self.told():
                some = self._db.fetchmany(4096)
            if self._late:
                raise self._bounds.too_slow()
            if not some:
                return
            yield from some

    def arrow(self) -> Any:
        """The result as a pyarrow.RecordBatchReader; take its batches inside `told`."""
        self._timer.start()
        with self.told():
            found = self._db.sql(self._sql)
            # the name that DuckDB had for it until version 2
            reader = found.to_arrow_reader if hasattr(found, "to_arrow_reader") else found.fetch_record_batch
            return reader(65_536)

    def _check(self) -> None:
        try:
            statements = self._db.extract_statements(self._sql)
        except duckdb.Error as error:
            raise self._trouble(error) from None
        kinds = [s.type.name for s in statements]
        if kinds not in (["SELECT"], ["EXPLAIN"]):
            raise Trouble(
                "only one query that reads can be run",
                code="sql.not-a-select",
                where="the SQL",
                found=", ".join(k.lower() for k in kinds) or "nothing",
                expected="one SELECT",
            )

    def _trouble(self, error: duckdb.Error) -> Trouble:
        text = " ".join(str(error).split("LINE ")[0].split())
        return Trouble(
            text, code="sql.refused", where="the SQL", remedy="see the views with `muniment sql ARCHIVE --views`"
        )


class _Makers:
    """The SQL of each view, and the files it reads."""

    def __init__(self, archive: Archive, db: Any, watch: Callable[[Iterable[int]], Iterable[int]], own: str) -> None:
        self.archive, self.db, self.watch, self.own = archive, db, watch, own
        self.paths: list[Path] = []
        self._files: Counting | None = None

    def of(self, name: str) -> str:
        """SQL of a view."""
        view = schemas.load("views.toml")[name]
        if "table" in view:
            return self._assessed(view["table"]) if view.get("assessed") else self._bags(name)
        return {
            "records": self._records,
            "links": self._links,
            "parameters": self._parameters,
            "failures": self._failures,
            "jobs": self._jobs,
            "deposits": self._deposits,
            "cases": self._cases,
            "disposals": self._disposals,
            "calibrations": self._calibrations,
        }[name]()

    @property
    def files(self) -> Counting:
        """The records ready for counting."""
        if self._files is None:
            self._files = counting(self.archive, self.watch)
            self.paths += [*self._files.records, *self._files.failures]
        return self._files

    def _of_records(self, names: Iterable[str]) -> str:
        made = {
            "counts": "unit IS NOT NULL AS counts",
            "standing": "current AS standing",
            "tested_time": "TRY_CAST(tested_local AS TIMESTAMP) AS tested_time",
            "tested_utc": "TRY_CAST(tested_at AS TIMESTAMP) AS tested_utc",
            "quarter": "year || '-Q' || ((month - 1) // 3 + 1) AS quarter",
        }
        listed = ", ".join(made.get(n, f'"{n}"') for n in names)
        if not self.files.records:
            return f"SELECT {', '.join(f'NULL AS {_name(n)}' for n in names)} {_NO_ROWS}"
        return f"SELECT {listed} FROM {read_parquet(self.files.records, self.files.alike)}"

    def _records(self) -> str:
        return self._of_records(views()["records"]["columns"])

    def _links(self) -> str:
        text = self._of_records(views()["links"]["columns"])
        return text if text.endswith(_NO_ROWS) else f"{text} WHERE current"

    def _parameters(self) -> str:
        words = " ".join(f"WHEN {code} THEN '{word}'" for word, code in GRADED.items())
        table = read_parquet(self.files.records, self.files.alike) if self.files.records else ""
        parts = [
            f"SELECT deposit, position, current, first, '{p}' AS parameter, "
            f"CASE graded_{p} % {PROVISIONAL} {words} END AS verdict, "
            f"graded_{p} & {PROVISIONAL} > 0 AS provisional, margin_{p} AS margin FROM {table} "
            f"WHERE graded_{p} < {REPORTED}"
            for p in self.files.parameters
            if p == of_parameter(p)
        ]
        return " UNION ALL ".join(parts) if parts else _empty(views()["parameters"]["columns"])

    def _failures(self) -> str:
        if not self.files.failures:
            return _empty(views()["failures"]["columns"])
        names = [n for n in views()["failures"]["columns"] if n not in ("deposit", "position", "unit", "counts")]
        own = ", ".join(f"f.{_name(n)}" for n in names)
        return (
            f"SELECT r.deposit, r.position, r.unit, r.unit IS NOT NULL AS counts, {own} "
            f"FROM {read_parquet(self.files.failures, True)} f "
            f"JOIN {read_parquet(self.files.records, self.files.alike)} r ON r.row = f.row "
            "WHERE f.told_by != 'instrument too'"
        )

    def _jobs(self) -> str:
        names = [n for n in views()["jobs"]["columns"] if n != "held"]
        facts: dict[str, dict[str, Any]] = {}
        db = self.archive.db
        self.archive.catch_up()
        for job, name, value in db.execute("SELECT job_id, field, value FROM jobs"):
            facts.setdefault(job, {})[name] = value
        for (job,) in db.execute("SELECT DISTINCT job_id FROM records WHERE job_id IS NOT NULL"):
            facts.setdefault(job, {})
        held = {r[0] for r in db.execute("SELECT job_id FROM holds")}
        rows = [
            {**{n: f.get(n) for n in names}, "job_id": job, "held": job in held} for job, f in sorted(facts.items())
        ]
        return self._own("jobs", rows, dict.fromkeys(names, "VARCHAR") | {"held": "BOOLEAN"})

    def _deposits(self) -> str:
        self.archive.catch_up()
        found = self.archive.db.execute(
            "SELECT d.deposit, d.number AS entry, e.at, d.job_id, d.records, d.withdrawn FROM deposits d "
            "JOIN entries e ON e.number = d.number ORDER BY d.number"
        )
        rows = [{**dict(r), "withdrawn": bool(r["withdrawn"])} for r in found]
        types = {"deposit": "VARCHAR", "entry": "BIGINT", "at": "VARCHAR", "job_id": "VARCHAR", "records": "BIGINT"}
        return self._own("deposits", rows, types | {"withdrawn": "BOOLEAN"})

    def _disposals(self) -> str:
        self.archive.catch_up()
        found = self.archive.db.execute(
            "SELECT d.job_id, d.number AS entry, e.at, p.number AS proposal, p.deposits, d.records FROM disposals d "
            "JOIN entries e ON e.number = d.number JOIN disposal_proposals p ON p.id = d.proposal ORDER BY d.number"
        )
        rows = [{**dict(r), "deposits": len(json.loads(r["deposits"]))} for r in found]
        numbers = dict.fromkeys(("entry", "proposal", "deposits", "records"), "BIGINT")
        return self._own("disposals", rows, {n: numbers.get(n, "VARCHAR") for n in views()["disposals"]["columns"]})

    def _calibrations(self) -> str:
        self.archive.catch_up()
        names = views()["calibrations"]["columns"]
        listed = ", ".join("number AS entry" if n == "entry" else n for n in names)
        found = self.archive.db.execute(f"SELECT {listed} FROM calibrations ORDER BY number, serial, valid_until")
        rows = [dict(r) for r in found]
        return self._own("calibrations", rows, {n: "BIGINT" if n == "entry" else "VARCHAR" for n in names})

    def _cases(self) -> str:
        rows = []
        for c in cases(self.archive):
            told = c.plain()
            deposit, _, position = c.address.rpartition("/")
            rows.append(
                {
                    **{n: told[n] for n in ("state", "site", "complaint", "decision", "cause", "cost", "currency")},
                    **{n: told[n] for n in ("opened_on", "decided_on", "closed_on")},
                    "case_name": told["case"],
                    "case_id": told["id"],
                    "link_label": told["link"],
                    "job_id": told["job"],
                    "steps": len(c.steps),
                    "deposit": deposit or None,
                    "position": int(position) if position else None,
                }
            )
        other = {"position": "BIGINT", "cost": "DOUBLE", "steps": "BIGINT"}
        return self._own("cases", rows, {n: other.get(n, "VARCHAR") for n in views()["cases"]["columns"]})

    def _own(self, name: str, rows: Sequence[dict[str, Any]], types: dict[str, str]) -> str:
        """A table that is no file."""
        kinds = {"VARCHAR": pa.string(), "BOOLEAN": pa.bool_(), "BIGINT": pa.int64(), "DOUBLE": pa.float64()}
        table = pa.Table.from_pylist(list(rows), schema=pa.schema([(n, kinds[t]) for n, t in types.items()]))
        self.db.register("handed_over", table)
        self.db.execute(f"CREATE TABLE {self.own}_{name} AS SELECT * FROM handed_over")
        self.db.unregister("handed_over")
        return f"SELECT {', '.join(_name(n) for n in types)} FROM {self.own}_{name}"

    def _assessed(self, table: str) -> str:
        found = statements(self.archive, table)
        self.paths += [path for _, path in found]
        return assessed(table, found) if found else _empty([*_OF_RUN, "deposit", "position", *schema(table).names])

    def _bags(self, name: str) -> str:
        """One table of all bags."""
        columns = list(views()[name]["columns"])[1:]
        self.archive.catch_up()
        bags = Bags(self.archive)
        files: list[tuple[str, Path]] = []
        instead: list[tuple[str, Path]] = []
        for deposit in bags.deposits():
            with passed_over(deposit, "its rows are not in this answer"):
                tables = bags.tables(deposit)
                found = [p for _, p in tables.sweep_files] if name == "sweeps" else [tables.path(name)]
                found = [p for p in found if name == "sweeps" or tables.has(name)]
                for path in found:
                    tables.check(path)
                for path in found:
                    (files if path.parent == tables.folder else instead).append((deposit, path))
        self.paths += [p for _, p in (*files, *instead)]
        own = ", ".join(_sweep_values() if name == "sweeps" and c == "values" else _name(c) for c in columns)
        parts = []
        if files:
            where = "regexp_extract(replace(filename, '\\', '/'), '/deposits/[0-9]{4}/([^/]+)/', 1)"
            parts.append(f"SELECT {where} AS deposit, {own} FROM {_table_files(name, [p for _, p in files])}")
        for deposit, path in instead:
            parts.append(f"SELECT {quoted(deposit)} AS deposit, {own} FROM {_table_files(name, [path])}")
        return " UNION ALL ".join(parts) if parts else _empty(["deposit", *columns])


def _table_files(name: str, files: Sequence[Path]) -> str:
    """SQL that reads files of a table, with the name of each row's file; columns that older ones lack are null."""
    if name not in _GROWN:
        return read_parquet(files, True, named=True)
    columns = ", ".join(f"NULL AS {_name(c)}" for c in schema(name).names)
    there = read_parquet(files, False, named=True)
    return f"(SELECT * FROM {there} UNION ALL BY NAME SELECT {columns} WHERE false)"


def assessed(table: str, found: Sequence[tuple[LedgerEntry, Path]]) -> str:
    """SQL of a table of assessments, "verdicts" or "grades", from what archive.store.assessments.statements gives."""
    own = ", ".join(_name(c) for c in schema(table).names)
    runs = " UNION ALL ".join(
        f"SELECT {quoted(entry['id'])} AS assessment, {entry.number}::BIGINT AS entry, "
        f"regexp_extract(address, '^(.*)/[0-9]+$', 1) AS deposit, "
        f"regexp_extract(address, '/([0-9]+)$', 1)::BIGINT AS \"position\", {own} FROM {_table_files(table, [path])}"
        for entry, path in found
    )
    latest = 'entry = max(entry) OVER (PARTITION BY deposit, "position", limit_id)'
    return f'SELECT assessment, entry, {latest} AS latest, deposit, "position", {own} FROM ({runs})'


def _of_all(names: Sequence[str], texts: Sequence[str]) -> str:
    """A view of several archives as one; those that have no row of it say nothing of the types of its columns."""
    if len(names) < 2:
        return texts[0]
    told = [f"SELECT {quoted(n)} AS archive, * FROM ({t})" for n, t in zip(names, texts, strict=True)]
    some = [one for one, t in zip(told, texts, strict=True) if not t.endswith(_NO_ROWS)]
    return " UNION ALL BY NAME ".join(some or told[:1])


def _sweep_values() -> str:
    """Values of a curve again: value = scaled / 10^decimals (archive/store/parquet/curves.py)."""
    return 'coalesce("values", [x / power(10, decimals) for x in scaled]) AS "values"'


def _empty(columns: Iterable[str]) -> str:
    return f"SELECT {', '.join(f'NULL AS {_name(c)}' for c in columns)} {_NO_ROWS}"


def _name(column: str) -> str:
    return f'"{column}"'
