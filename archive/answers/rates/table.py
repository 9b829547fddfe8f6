"""Rates as an Arrow table: the one Python call for analysts."""

from __future__ import annotations

import csv
import io
import json
import sys
from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path
from typing import Any

import pyarrow as pa
import pyarrow.parquet as pq

from archive import store
from archive.answers.rates.pareto import failed
from archive.answers.rates.rates import Asked, rates
from archive.answers.rates.source import Choice
from archive.answers.spreadsheet import guarded
from archive.atomic import write_bytes
from archive.errors import Trouble
from archive.store.catalogue.filters import Filters
from archive.store.roles import Role


def table(
    archive: str | Path | store.Archive,
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

    archive: a path, or what archive.store.open gives. by: fields to group by ("cable_type", "year", ...; see
    archive.answers.rates.fields.FIELDS), a list or words joined by commas. what: "rates" (one row per group; columns
    as archive.answers.rates.count.row_of says, shares from 0 to 1, margins in the unit of margin_unit),
    "differences" (one row per group against the typical one), "told" (what may be relied on), or "failed" (what
    failed, one row per part, see pareto.failed; by names
    its parts). only: fields and the value each must have. verdicts: whose count, "best", "program" or "reported".
    length_edges: upper ends of the bands of length in metres. role: which
    record of a link counts for the final rate. filters: link, job, site, since, until, cable_type,
    limit, verdict, serial, deposit, as `muniment find` takes them.

    Errors: archive.errors.Trouble for a word that there is not, or a damaged archive; TypeError for an unknown filter.
    """
    opened = store.open(Path(archive)) if isinstance(archive, str | Path) else archive
    fields = [w for w in by.split(",") if w.strip()] if isinstance(by, str) else list(by)
    choice = Choice(Filters(**filters), list((only or {}).items()), verdicts, length_edges, role)
    if what == "rates":
        return as_table(rates(opened, fields, choice, Asked("none")).rows)
    if what == "differences":
        return as_table(rates(opened, fields, choice).differences)
    if what == "told":
        return as_table([t.plain() for t in rates(opened, fields, choice).told])
    if what == "failed":
        return as_table(failed(opened, choice, fields or None).rows)
    raise Trouble(
        "no such table", code="rates.unknown-table", found=repr(what), expected="rates, differences, told, failed"
    )


def as_table(rows: Sequence[Mapping[str, Any]]) -> pa.Table:
    """Rows as an Arrow table; a column of which nothing is known is one of reals."""
    made = pa.Table.from_pylist([dict(r) for r in rows])
    types = [pa.field(f.name, pa.float64() if pa.types.is_null(f.type) else f.type) for f in made.schema]
    return made.cast(pa.schema(types))


def save(rows: Sequence[Mapping[str, Any]], form: str, out: Path | None) -> None:
    """Rows as csv, parquet or json into a file, written aside and renamed, or onto standard output.

    Errors: Trouble for Parquet onto a terminal.
    """
    data = encoded(rows, form)
    if out is None:
        if form == "parquet" and sys.stdout.isatty():
            raise Trouble(
                "Parquet is nothing for a terminal", code="rates.parquet-on-terminal", remedy="name a file with --out"
            )
        sys.stdout.buffer.write(data)
        sys.stdout.buffer.flush()
        return
    write_bytes(out, data)


def encoded(rows: Sequence[Mapping[str, Any]], form: str) -> bytes:
    """Rows as the bytes of a CSV, Parquet or JSON file. Null is an empty cell in CSV.

    In CSV lists are joined, and a text that a spreadsheet would take for a formula has an apostrophe before it.
    """
    if form == "json":
        return (json.dumps(list(rows), ensure_ascii=False, indent=1, default=str) + "\n").encode()
    if form == "csv":
        text = io.StringIO()
        names = list(dict.fromkeys(name for row in rows for name in row))
        writer = csv.writer(text, lineterminator="\r\n")  # RFC 4180; so a carriage return in a cell is quoted
        writer.writerow(names)
        for row in rows:
            writer.writerow([guarded(_cell(row.get(name))) for name in names])
        return text.getvalue().encode()
    sink = pa.BufferOutputStream()
    pq.write_table(as_table(rows), sink, store_schema=False)
    return bytes(sink.getvalue())


def _cell(value: Any) -> Any:
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, list):
        return "; ".join(str(v) for v in value)
    return value
