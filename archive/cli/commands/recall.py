"""muniment recall: every link whose accepted or current record came from one unit."""

from __future__ import annotations

from pathlib import Path

import click

from archive.cli.common import ARCHIVE, done, output_options, page_width, print_json, print_line, say


@click.command("recall")
@click.argument("archive", type=ARCHIVE)
@click.option("--serial", required=True, metavar="N", help="Serial number of a unit, main or remote.")
@click.option("--since", metavar="D", help="Tested on this day or later (ISO 8601).")
@click.option("--until", metavar="D", help="Tested on this day or earlier (ISO 8601).")
@output_options
def command(archive: Path, serial: str, since: str | None, until: str | None, as_json: bool, quiet: bool) -> None:
    """Lists every link whose accepted or current record came from one unit, for when it turns out to measure wrong.

    \b
    Exit code 1: there are such links.

    \b
    Example:
      muniment recall certificates --serial 40-00317 --since 2019-02-01
    """
    from archive import store
    from archive.answers.known_names import hints
    from archive.cli.commands.find import lines, plain
    from archive.store.catalogue.filters import Filters
    from archive.store.catalogue.search import find
    from archive.validation.catalogue import findings

    opened = store.open(archive)
    opened.catch_up()
    rows = [
        plain(r)
        for r in find(opened.db, Filters(serial=serial, since=since, until=until))
        if r["current"] or r["accepted"]
    ]
    links = f"{len(rows)} link{'s' if len(rows) != 1 else ''}"
    finding = findings.about_archive("unit-recalled", where=serial, found=links)
    if as_json:
        print_json({"serial": serial, "records": rows, "findings": [finding] if rows else []})
    elif not quiet:
        for r in rows:
            for part in lines(r, page_width()):
                print_line(part)
        print_line(finding["message"] if rows else f"no link stands on a test by unit {serial}")
        for hint in hints(opened, Filters(serial=serial)) if not rows else ():
            say(hint)
    done(bool(rows))
