"""muniment room: the archive in a browser."""

from __future__ import annotations

import sys
from pathlib import Path

import click

from archive.cli.common import output_options, print_json, print_line, say


@click.command("room")
@click.argument("archive", type=click.Path(path_type=Path))
@click.option("--port", type=click.IntRange(0, 65535), default=0, metavar="N", help="Port; by default any free one.")
@click.option("--name", "names", multiple=True, metavar="NAME", help="A further name that leads to this machine.")
@click.option("--again", is_flag=True, help="Print a new address for the room that is open, and end.")
@output_options
def command(archive: Path, port: int, names: tuple[str, ...], again: bool, as_json: bool, quiet: bool) -> None:
    """Opens an archive for reading in a browser on this machine, until Ctrl-C. The first line printed is the address.
    The token in it is good once, and for whoever has it: tell it to nobody. Nothing in the archive is changed.

    \b
    Example:
      muniment room certificates
    """
    from archive.room.serve import another_token, serve

    def announce(address: str) -> None:
        print_json({"address": address}) if as_json else print_line(address)
        sys.stdout.flush()

    def opened(address: str) -> None:
        announce(address)
        say("open this address in a browser; Ctrl-C closes the room", quiet=quiet)

    if again:
        announce(another_token(archive))
    else:
        serve(archive, port, names, opened, say)
