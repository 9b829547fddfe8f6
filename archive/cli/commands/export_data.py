"""muniment export-data: the documented views for other tools, without whose records they are."""

from __future__ import annotations

from pathlib import Path

import click

from archive.cli.common import ARCHIVE, done, output_options, print_json, print_line, progress
from archive.vocabulary.counted import counted


@click.command("export-data")
@click.argument("archive", type=ARCHIVE, metavar="ARCHIVE")
@click.option(
    "--to",
    "out",
    required=True,
    type=click.Path(path_type=Path),
    metavar="FOLDER|FILE.duckdb",
    help="A new folder of Parquet files with schema.json, or one DuckDB file.",
)
@click.option("--include", metavar="KIND[,KIND...]", default="", help="Of labels, sites, clients, people, jobs.")
@click.option(
    "--least-links",
    type=click.IntRange(1),
    metavar="N",
    help="Leave out jobs with fewer links (default: schemas/export-data.toml; 1 keeps all).",
)
@output_options
def command(archive: Path, out: Path, include: str, least_links: int | None, as_json: bool, quiet: bool) -> None:
    """Writes the views of `muniment sql --views` for pandas, polars, ibis and other tools, each column with its type
    and meaning. Labels, sites and clients are left out; jobs, crews and contractors get words that tell nothing but who
    belongs together; jobs of few links are withheld. No person is named in it, but whoever knows the cabling may still
    recognise it: whether it may be given away is for you to decide.

    \b
    Example:
      muniment export-data certificates --to certificates-data
      muniment export-data certificates --to certificates.duckdb --include sites,jobs
    """
    from archive import store
    from archive.answers.export_data import export_data

    found = export_data(
        store.open(archive),
        out,
        [word.strip() for word in include.split(",") if word.strip()],
        least_links=least_links,
        watch=lambda blocks: progress(blocks, "counting", quiet=quiet),
    )
    if as_json:
        print_json(found.plain())
    elif not quiet:
        for view, rows in found.rows.items():
            print_line(f"{view}: {counted(rows, 'row')}")
        print_line(
            f"left out: {', '.join(found.left_out) or 'nothing'}; replaced: {', '.join(found.replaced) or 'nothing'}"
        )
        if found.withheld_jobs:
            print_line(
                f"withheld: {counted(found.withheld_links, 'link')} of {counted(found.withheld_jobs, 'small job')}"
            )
    done(False)
