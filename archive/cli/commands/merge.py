"""muniment merge: joins another archive into this one."""

from __future__ import annotations

from pathlib import Path

import click

from archive.cli.common import (
    ARCHIVE,
    done,
    output_options,
    print_json,
    print_line,
    print_next,
    progress,
    signer_options,
)
from archive.vocabulary.counted import counted


@click.command("merge")
@click.argument("archive", type=ARCHIVE, metavar="ARCHIVE")
@click.argument("other", type=ARCHIVE, metavar="OTHER")
@signer_options
@output_options
def command(archive: Path, other: Path, by: str | None, reason: str | None, as_json: bool, quiet: bool) -> None:
    """Joins another archive into this one. The other is only read.

    Its ledger is filed under its own id, byte for byte, so that its receipts and proofs still hold; its deposits are
    looked at as any deposit: what is here already is not counted twice. Interrupted, it is simply run again.

    \b
    Exit code 1: records of both contradict each other.

    \b
    Example:
      muniment merge certificates branch-office-certificates
    """
    from archive import store
    from archive.cli import signer
    from archive.store.copies import merge

    opened = store.open(archive)
    made = merge(
        opened,
        store.open(other),
        by=signer.name(by),
        reason=reason,
        sign=signer.sign(opened),
        each=lambda e: progress(e, "entries", len(e), quiet=quiet),
    )
    if as_json:
        print_json({"deposits": made.deposits, "events": made.events, **made.counts, "ledger_head": opened.head().root})
    elif not quiet:
        print_line(f"{counted(made.deposits, 'deposit')} and {counted(made.events, 'other entry')} joined")
        for kind, count in made.counts.items():
            print_line(f"  {count:>8}  {kind.replace('_', ' ')}")
        print_next("identity", archive, then="lists what is in doubt")
    done(bool(made.counts.get("conflicts")))
