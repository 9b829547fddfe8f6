"""muniment export: a second copy, made or brought up to date."""

from __future__ import annotations

from pathlib import Path

import click

from archive.cli.common import ARCHIVE, output_options, print_json, print_line, print_next, progress
from archive.vocabulary.counted import counted


@click.command("export")
@click.argument("archive", type=ARCHIVE, metavar="ARCHIVE")
@click.option("--to", "copy", required=True, type=ARCHIVE, metavar="COPY", help="Folder of the copy.")
@click.option("--since", type=int, metavar="N", help="First ledger entry that the copy lacks (default: found out).")
@output_options
def command(archive: Path, copy: Path, since: int | None, as_json: bool, quiet: bool) -> None:
    """Makes a second copy of an archive, or brings one up to date. Every byte is verified on the way.

    The copy is an archive itself. What was redacted goes from the copy too.

    \b
    Example:
      muniment export certificates --to /mnt/second/certificates
    """
    from archive import store
    from archive.store.copies import export

    opened = store.open(archive)
    made = export(opened, copy, since, lambda e: progress(e, "entries", len(e), quiet=quiet))
    if as_json:
        print_json({"first": made.first, "entries": made.entries, "bytes": made.bytes, "ledger_head": made.head})
    elif not quiet:
        print_line(f"{copy}: {counted(made.entries, 'entry')} copied from number {made.first} on, {made.bytes:,} bytes")
        print_line(f"  head {made.head}, as here")
        print_next("fixity", copy)
