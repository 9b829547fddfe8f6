"""muniment sql: read-only SQL over documented views."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from archive.cli.common import done, output_options, page_width, print_json, print_line, progress
from archive.cli.plain import exact_output
from archive.errors import Trouble

if TYPE_CHECKING:
    from archive.answers.views import Query


@click.command("sql")
@click.argument("words", nargs=-1, required=True, metavar="ARCHIVE... [SELECT]")
@click.option("--views", "show", is_flag=True, help="List the views, their columns and what they mean.")
@click.option("--as", "form", type=click.Choice(["csv", "parquet"]), help="The rows as a table.")
@click.option("-o", "--out", type=click.Path(path_type=Path, dir_okay=False), help="With --as: a file for the table.")
@click.option(
    "--memory", type=click.IntRange(64), default=4096, show_default=True, metavar="MB", help="At most so much."
)
@click.option("--time", "seconds", type=click.IntRange(1), default=300, show_default=True, metavar="S", help="So long.")
@output_options
def command(
    words: tuple[str, ...],
    show: bool,
    form: str | None,
    out: Path | None,
    memory: int,
    seconds: int,
    as_json: bool,
    quiet: bool,
) -> None:
    """Runs one SELECT (DuckDB's SQL) over views of the archive. It can read nothing else, and write nothing. Of several
    archives, each view has the rows of all and a column `archive`, by which joins must go as well.

    In a CSV, a text that a spreadsheet would take for a formula has an apostrophe before it; Parquet and --json are
    exact. A query that takes more memory or time than it may is stopped.

    \b
    Example:
      muniment sql certificates --views
      muniment sql certificates "SELECT category, count(*) FROM links GROUP BY ALL"
      muniment sql certificates "FROM records" --as parquet -o records.parquet
      muniment sql north south "SELECT archive, count(*) FROM links GROUP BY ALL"
    """
    from archive import store
    from archive.answers.query_bounds import QueryBounds, memory_bounded
    from archive.answers.views import Query, views

    query = words[-1] if len(words) > 1 else None
    several = [store.open(Path(word)) for word in (words[:-1] if query and not show else words[:1])]
    if show:
        documented = views()
        if as_json:
            print_json({"views": documented})
        else:
            for name, view in documented.items():
                print_line(f"{name}: {view['meaning']}")
                for column, meaning in view["columns"].items():
                    print_line(f"    {column}: {meaning}")
        done(False)
    if not query:
        raise Trouble(
            "no query", code="option.no-query", expected="a SELECT in quotes", remedy="see the views with --views"
        )
    if out and not form:
        raise Trouble("--out needs --as csv or parquet", code="option.needs-another")
    bounds = QueryBounds(memory, seconds)
    with (
        Query(several, query, watch=lambda blocks: progress(blocks, "counting", quiet=quiet), bounds=bounds) as result,
        memory_bounded(bounds),
    ):
        if form:
            _save(result, form, out)
        elif as_json:
            rows = [dict(zip(result.columns, map(_plain, r), strict=True)) for r in result.rows()]
            print_json({"columns": result.columns, "rows": rows})
        else:
            _print(result)
    done(False)


def _print(result: Query) -> None:
    from archive.answers.columns import aligned

    lines = [result.columns, *(["" if v is None else str(v) for v in row] for row in result.rows())]
    for line in aligned(lines, left=len(result.columns), again=1, width=page_width()):
        print_line(line)


def _save(result: Query, form: str, out: Path | None) -> None:
    import sys

    if out is None and form == "parquet" and sys.stdout.isatty():
        raise Trouble(
            "Parquet cannot be printed on a terminal",
            code="option.parquet-on-terminal",
            remedy="name a file with --out",
        )
    from contextlib import nullcontext

    from archive.atomic import atomic_write

    write = _csv if form == "csv" else _parquet
    with nullcontext() if out is None else atomic_write(out) as path:
        write(result, path)


def _csv(result: Query, path: Path | None) -> None:
    import csv
    from contextlib import nullcontext

    from archive.answers.spreadsheet import guarded

    opened: Any = nullcontext(exact_output()) if path is None else path.open("w", encoding="utf-8", newline="")
    with opened as file:
        writer = csv.writer(file, lineterminator="\r\n")  # RFC 4180; so a carriage return in a cell is quoted
        writer.writerow(map(guarded, result.columns))
        for row in result.rows():
            writer.writerow([{True: "true", False: "false"}[v] if isinstance(v, bool) else guarded(v) for v in row])


def _parquet(result: Query, path: Path | None) -> None:
    import sys

    import pyarrow.parquet as pq

    reader = result.arrow()
    target = sys.stdout.buffer if path is None else path
    with result.told(), pq.ParquetWriter(target, reader.schema, compression="zstd") as writer:
        for batch in reader:
            writer.write_batch(batch)


def _plain(value: Any) -> Any:
    """Decimals as numbers; JSON has no other."""
    import decimal

    if isinstance(value, decimal.Decimal):
        return int(value) if value == value.to_integral_value() else float(value)
    return value
