"""muniment reindex: the index and the tables for counting, rebuilt from the bags."""

from __future__ import annotations

from pathlib import Path

import click

from archive.cli.common import ARCHIVE, done, output_options, print_json, progress, say
from archive.cli.spreading import spread_options, workforce
from archive.vocabulary.counted import counted


@click.command("reindex")
@click.argument("archive", type=ARCHIVE, metavar="ARCHIVE")
@spread_options
@output_options
def command(archive: Path, workers: int, scheduler: str | None, as_json: bool, quiet: bool) -> None:
    """Throws away what this user's cache holds of the archive, and rebuilds it from ledger and bags.

    The archive itself is only read. Nothing is lost but time: the last head seen stays remembered.

    \b
    Example:
      muniment reindex certificates
    """
    from archive import store
    from archive.answers.reindex import reindex

    opened = store.open(archive)
    who = workforce(workers, scheduler, "", quiet=True).workers
    made = reindex(opened, lambda blocks: progress(blocks, "counting", quiet=quiet), who)
    if as_json:
        print_json(made)
    else:
        say(
            f"{counted(made['entries'], 'ledger entry')}, {counted(made['deposits'], 'deposit')} and "
            f"{counted(made['records'], 'record')} indexed; "
            f"{counted(made['files'], 'file')} for counting",
            quiet=quiet,
        )
    done(False)
