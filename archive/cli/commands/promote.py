"""muniment promote: a second copy becomes the original."""

from __future__ import annotations

from pathlib import Path

import click

from archive.cli.common import ARCHIVE, output_options, print_json, print_line, print_next


@click.command("promote")
@click.argument("archive", type=ARCHIVE, metavar="COPY")
@click.option("--reason", required=True, metavar="TEXT", help="What became of the original.")
@click.option("--by", metavar="NAME", help="Who does this (default: the name set once with `muniment me NAME`).")
@output_options
def command(archive: Path, reason: str, by: str | None, as_json: bool, quiet: bool) -> None:
    """Makes a second copy the original, so that records can be deposited in it.

    Do this where the original is lost, and only there: an entry in each of two originals parts them for good, and
    whoever has seen the one is refused by the other. The ledger keeps who did this and why.

    \b
    Example:
      muniment promote /mnt/second/certificates --reason "the first disk failed on 3 May"
    """
    from archive import store
    from archive.cli import signer
    from archive.store.events import promote

    opened = store.open(archive)
    entry = promote(opened, by=signer.name(by), reason=reason, sign=signer.sign(opened))
    head = opened.head()
    if as_json:
        print_json({"ledger_entry": entry.number, "ledger_head": head.root})
    elif not quiet:
        print_line(f"{archive} is the original now, by ledger entry {entry.number}; head {head.root}")
        print_line("  never write again into what was the original before")
        print_next("fixity", archive)
