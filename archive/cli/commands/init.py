"""muniment init: a new, empty archive."""

from __future__ import annotations

from pathlib import Path

import click

from archive.cli.common import ARCHIVE, output_options, print_json, print_line, print_next


@click.command("init")
@click.argument("archive", type=ARCHIVE, metavar="ARCHIVE")
@click.option("--yes", is_flag=True, help="Make it, though one of nearly the same name stands beside it.")
@output_options
def command(archive: Path, yes: bool, as_json: bool, quiet: bool) -> None:
    """Makes a new, empty archive in a folder that is empty or not there yet.

    Where an archive of nearly the same name stands beside it, nothing is made unless --yes says that it is meant.

    \b
    Example:
      muniment init certificates
    """
    from archive import store
    from archive.answers.known_names import not_by_a_slip
    from archive.cli import signer

    if not yes:
        not_by_a_slip(archive)
    made = store.create(archive)
    head = made.head()
    if as_json:
        print_json({"archive": made.id, "path": str(archive), "ledger_head": head.root})
    elif not quiet:
        print_line(f"{archive}: new archive {made.id}, ledger head {head.root}")
        if signer.name(None) is None:
            print_next("me", "NAME", then="says once who deposits")
        else:
            print_next("deposit", "FILES", "--into", archive, "--job", "JOB")
