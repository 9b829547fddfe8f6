"""muniment ready: which links carry an application, which do not, and of which it cannot be told."""

from __future__ import annotations

from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from archive.cli.common import ARCHIVE, done, output_options, page_width, print_json, print_line, say
from archive.cli.filters import (
    as_of_options,
    chosen,
    filter_options,
    only_option,
    opened,
    pairs,
    role_option,
    table_file,
    table_options,
)
from archive.cli.spreading import spread_options, workforce

if TYPE_CHECKING:
    from archive.store.roles import Role


@click.command("ready")
@click.argument("archives", nargs=-1, required=True, type=ARCHIVE, metavar="ARCHIVE...")
@click.option(
    "--application", required=True, metavar="APP[,APP...]", help="What is to run: 10gbase-t, poe-type-3, 10gbase-sr ..."
)
@click.option("--by", metavar="FIELD[,FIELD...]", default="", help="What to group by, as `muniment rates --by`.")
@filter_options
@only_option
@role_option("Which record of a link answers.")
@click.option(
    "--cords",
    type=click.FloatRange(0, 1000),
    metavar="METRES",
    help="Cords at both ends together, added to permanent links (default: the standard's allowance).",
)
@table_options
@as_of_options
@spread_options
@output_options
def command(
    archives: tuple[Path, ...],
    application: str,
    by: str,
    only: tuple[str, ...],
    role: Role,
    cords: float | None,
    form: str | None,
    out: Path | None,
    as_of: datetime | None,
    known: bool,
    workers: int,
    scheduler: str | None,
    as_json: bool,
    quiet: bool,
    **filters: Any,
) -> None:
    """Links that carry an application, that do not, and that cannot be told and why: from the curves that are stored,
    each link once by the record that counts. Nothing is written. A link carries where the record that counts meets the
    limits of the application; bounds say what share carries if all that cannot be told did not, or did.

    \b
    Example:
      muniment ready certificates --application 5gbase-t,10gbase-t --by site,year
      muniment ready certificates --application poe-type-3 --job HARBOUR-2019-04 --json
      muniment ready north south --application 10gbase-t --by archive
    """
    from archive.answers.rates.readiness import readiness
    from archive.answers.rates.source import Choice
    from archive.answers.rates.table import save
    from archive.answers.rates.words import ready_lines

    table_file(form, out)
    found = readiness(
        [opened(path, as_of, known) for path in archives],
        [a.strip() for a in application.split(",") if a.strip()],
        [word for word in by.split(",") if word.strip()],
        Choice(chosen(filters), pairs(only), role=role),
        cords=cords,
        force=workforce(workers, scheduler, "grading", quiet=quiet),
    )
    if form:
        save(found.table, form, out, found.columns)
    elif as_json:
        print_json(found.plain())
    elif not quiet:
        for line in ready_lines(found, page_width()):
            print_line(line)
    for note in found.notes:
        say(note, quiet=quiet)
    done(False)
