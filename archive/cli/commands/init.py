"""muniment init: a new, empty archive."""

from __future__ import annotations

from pathlib import Path

import click

from archive.cli.common import output_options, print_json, print_line


@click.command("init")
@click.argument("archive", type=click.Path(path_type=Path), metavar="ARCHIVE")
@output_options
def command(archive: Path, as_json: bool, quiet: bool) -> None:
    """Makes a new, empty archive in a folder that is empty or not there yet.

    \b
    Example:
      muniment init certificates
    """
    from archive import store

    made = store.create(archive)
    head = made.head()
    if as_json:
        print_json({"archive": made.id, "path": str(archive), "ledger_head": head.root})
    elif not quiet:
        print_line(f"{archive}: new archive {made.id}, ledger head {head.root}")
