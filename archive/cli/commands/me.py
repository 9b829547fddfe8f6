"""muniment me: the name under which this user changes archives."""

from __future__ import annotations

import click

from archive.cli.common import output_options, print_json


@click.command("me")
@click.argument("name", required=False, metavar="[NAME]")
@output_options
def command(name: str | None, as_json: bool, quiet: bool) -> None:
    """Sets or shows the name that deposits and other changes carry where --by is not given.

    A login name is no evidence of who somebody is, so without a name "not stated" is recorded.

    \b
    Example:
      muniment me "R. Ostrander"
    """
    from archive.cli import signer

    if name is not None:
        signer.set_name(name)
    known = signer.name(None)
    if as_json:
        print_json({"name": known})
    elif not quiet:
        click.echo(known or "not stated")
