"""Rates as an Arrow table: the one Python call for analysts."""

from __future__ import annotations

import csv
import io
import json
import sys
from collections.abc import Iterable, Mapping, Sequence
from os import PathLike
from pathlib import Path
from typing import Any

import pyarrow as pa
import pyarrow.parquet as pq

from archive import store
from archive.answers.rates.compare import DIFFERENCES, Told
from archive.answers.rates.pareto import failed
from archive.answers.rates.rates import Asked, rates
from archive.answers.rates.source import Choice
from archive.answers.spreadsheet import guarded
from archive.atomic import write_bytes
from archive.errors import Trouble
from archive.objects import place
from archive.store.catalogue.filters import Filters
from archive.store.roles import Role


def table(
    archive: str | PathLike[str] | store.Archive | Sequence[str | PathLike[str] | store.Archive],
    by: str | Iterable[str] = (),
    *,
    what: str = "rates",
    only: Mapping[str, str] | None = None,
    verdicts: str = "best",
    length_edges: Sequence[float] | None = None,
    role: Role = "current",
    **filters: str | None,
) -> pa.Table:
    """Rates over an archive as a pyarrow.Table; `.to_pandas()` makes it a pandas frame.

    archive: a path, what archive.store.open gives, or a list of them, asked as one. by: fields to group by
    ("cable_type", "year", ...; see archive.answers.rates.fields.FIELDS), a list or words joined by commas. what:
    "rates" (one row per group; columns as archive.answers.rates.count.row_of says, shares from 0 to 1, margins in the
    unit of margin_unit), "differences" (one row per group against the typical one), "told" (what may be relied on), or
    "failed" (what failed, one row per part, see pareto.failed; by names its parts). only: fields and the value each
    must have. verdicts: whose count, "best", "program" or "reported". length_edges: upper ends of the bands of length
    in metres. role: which record of a link counts for the final rate. filters: link, job, site, since, until,
    cable_type, limit, verdict, serial, deposit, as `muniment find` takes them, and cohort ("first-test").

    Errors: archive.errors.Trouble for a word that there is not, or a damaged archive; TypeError for an unknown filter.
    """
    opened = opened_all(archive)
    cohort = filters.pop("cohort", None)
    fields = _words(by)
    choice = Choice(Filters(**filters), list((only or {}).items()), verdicts, length_edges, role, cohort)
    if what == "rates":
        found = rates(opened, fields, choice, Asked("none"))
        return as_table(found.rows, found.columns)
    if what == "differences":
        return as_table(rates(opened, fields, choice).differences, DIFFERENCES)
    if what == "told":
        return as_table([t.plain() for t in rates(opened, fields, choice).told], Told.columns())
    if what == "failed":
        missed = failed(opened, choice, fields or None)
        return as_table(missed.rows, missed.columns)
    raise Trouble(
        "no such table", code="rates.unknown-table", found=repr(what), expected="rates, differences, told, failed"
    )


def ready_table(
    archive: Any,
    application: str | Iterable[str],
    by: str | Iterable[str] = (),
    *,
    only: Mapping[str, str] | None = None,
    role: Role = "current",
    cords: float | None = None,
    **filters: str | None,
) -> pa.Table:
    """See muniment.ready."""
    from archive.answers.rates.readiness import readiness

    choice = Choice(Filters(**filters), list((only or {}).items()), role=role)
    found = readiness(opened_all(archive), _words(application), _words(by), choice, cords=cords)
    return as_table(found.table, found.columns)


def curve_table(
    archive: Any,
    parameter: str,
    by: str | Iterable[str] = (),
    *,
    against: str | None = None,
    tests: str = "current",
    worst: bool = False,
    **filters: str | None,
) -> pa.Table:
    """See muniment.curves."""
    from archive.answers.rates.distributions import CurveChoice, distribution

    asked = CurveChoice(parameter, tests, "worst" if worst else "curves")
    found = distribution(opened_all(archive), asked, Choice(Filters(**filters)), against=against, by=_words(by))
    return as_table([row for spread in found.spreads for row in spread.rows()], found.columns)


def drawn(
    archive: Any,
    out: Path,
    by: str | Iterable[str] = (),
    *,
    trend: str | None = None,
    curves: str | None = None,
    **filters: str | None,
) -> Path:
    """See muniment.plot."""
    from archive.answers.rates import pictures
    from archive.answers.rates.distributions import CurveChoice, distribution
    from archive.answers.rates.trend import trend as followed

    opened, choice = opened_all(archive), Choice(Filters(**filters))
    if trend is not None:
        pictures.save(followed(opened, trend, choice), out)
    elif curves is not None:
        pictures.save(distribution(opened, CurveChoice(curves), choice, by=_words(by)), out)
    else:
        pictures.save(rates(opened, _words(by), choice, Asked("none")), out)
    return out


def _words(listed: str | Iterable[str]) -> list[str]:
    return [w.strip() for w in listed.split(",") if w.strip()] if isinstance(listed, str) else list(listed)


def opened_all(archive: Any) -> Any:
    """An archive, or a list of several, from paths and archives. Errors: Trouble where there is none."""
    if isinstance(archive, store.Archive):
        return archive
    if isinstance(archive, str | PathLike):
        return store.open(place(archive))
    listed = [opened_all(one) for one in archive]
    return listed[0] if len(listed) == 1 else listed


def as_table(rows: Sequence[Mapping[str, Any]], like: Mapping[str, Any] | None = None) -> pa.Table:
    """Rows as an Arrow table. like: a row with a value of the kind of each column, which says the columns of a table of
    no rows, and the type of a column of which nothing is known; else it is one of reals."""
    made = pa.Table.from_pylist([dict(r) for r in (rows or ([like] if like else []))])
    made = made if rows else made.slice(0, 0)
    of = pa.Table.from_pylist([dict(like or {})]).schema
    known = {f.name: f.type for f in of if not pa.types.is_null(f.type)}
    types = [
        pa.field(f.name, known.get(f.name, pa.float64()) if pa.types.is_null(f.type) else f.type) for f in made.schema
    ]
    return made.cast(pa.schema(types))


def save(rows: Sequence[Mapping[str, Any]], form: str, out: Path | None, columns: Mapping[str, Any]) -> None:
    """Rows as csv, parquet or json into a file, written aside and renamed, or onto standard output.

    columns: those that a table of no rows has, each with a value of its kind.

    Errors: Trouble for Parquet onto a terminal.
    """
    data = encoded(rows, form, columns)
    if out is None:
        if form == "parquet" and sys.stdout.isatty():
            raise Trouble(
                "Parquet is nothing for a terminal", code="rates.parquet-on-terminal", remedy="name a file with --out"
            )
        sys.stdout.buffer.write(data)
        sys.stdout.buffer.flush()
        return
    write_bytes(out, data)


def encoded(rows: Sequence[Mapping[str, Any]], form: str, columns: Mapping[str, Any]) -> bytes:
    """Rows as the bytes of a CSV, Parquet or JSON file. Null is an empty cell in CSV; columns: those of no rows.

    In CSV lists are joined, and a text that a spreadsheet would take for a formula has an apostrophe before it.
    """
    if form == "json":
        return (json.dumps(list(rows), ensure_ascii=False, indent=1, default=str) + "\n").encode()
    if form == "csv":
        text = io.StringIO()
        names = list(dict.fromkeys(name for row in rows for name in row)) or list(columns)
        writer = csv.writer(text, lineterminator="\r\n")  # RFC 4180; so a carriage return in a cell is quoted
        writer.writerow(names)
        for row in rows:
            writer.writerow([guarded(_cell(row.get(name))) for name in names])
        return text.getvalue().encode()
    sink = pa.BufferOutputStream()
    pq.write_table(as_table(rows, columns), sink, store_schema=False)
    return bytes(sink.getvalue())


def _cell(value: Any) -> Any:
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, list):
        return "; ".join(str(v) for v in value)
    return value
