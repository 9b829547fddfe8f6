"""muniment me: the name under which this user changes archives."""

from __future__ import annotations

from pathlib import Path

import click

from archive.cli.common import ARCHIVE, output_options, print_json, print_line, print_next


@click.command("me")
@click.argument("name", required=False, metavar="[NAME]")
@click.option("--archive", type=ARCHIVE, help="The archive that deposits go into by default.")
@output_options
def command(name: str | None, archive: Path | None, as_json: bool, quiet: bool) -> None:
    """Sets or shows the name that deposits and other changes carry where --by is not given.

    A login name is no evidence of who somebody is, so without a name "not stated" is recorded.

    \b
    Example:
      muniment me "R. Ostrander"
    """
    from archive import store
    from archive.cli import signer

    if archive is not None:
        store.open(archive)
    if name is not None or archive is not None:
        signer.set_me(name=name, archive=None if archive is None else str(archive.absolute()))
    known = signer.name(None)
    if as_json:
        print_json({"name": known})
    elif not quiet:
        print_line(known or "not stated")
        if name is not None and signer.settled_archive() is None:
            print_next("me", "--archive", "ARCHIVE", then="names the archive once, too")
        elif name is not None or archive is not None:
            print_next("deposit", "FILES", "--job", "JOB")
