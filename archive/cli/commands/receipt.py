"""muniment receipt: the receipt of a deposit again."""

from __future__ import annotations

from pathlib import Path

import click

from archive.cli.common import output_options, print_json


@click.command("receipt")
@click.argument("archive", type=click.Path(path_type=Path), metavar="ARCHIVE")
@click.argument("deposit", metavar="DEPOSIT")
@output_options
def command(archive: Path, deposit: str, as_json: bool, quiet: bool) -> None:
    """Prints the receipt of a deposit again, with the ledger head as it was right after it.

    \b
    Example:
      muniment receipt certificates 2026-11-25-3f9a1c0712
    """
    from archive import store
    from archive.answers.progress import progress
    from archive.cli import receipts
    from archive.store.deposits import receipt

    opened = store.open(archive)
    made = receipt(opened, deposit)
    job = made.plain().get("job")
    counts = progress(opened, job).counts if job else None
    if as_json:
        print_json({**made.plain(), **({} if counts is None else counts.plain())})
    elif not quiet:
        click.echo(receipts.text(made, counts))
