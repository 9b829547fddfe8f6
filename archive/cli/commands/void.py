"""muniment void: a decision on a ledger entry that was cut short."""

from __future__ import annotations

from pathlib import Path

import click

from archive.cli.common import ARCHIVE, output_options, print_json, print_line, print_next


@click.command("void")
@click.argument("archive", type=ARCHIVE, metavar="ARCHIVE")
@click.argument("entry", type=click.IntRange(1), metavar="ENTRY")
@click.option("--reason", required=True, metavar="TEXT", help="Why it is given up.")
@click.option("--by", metavar="NAME", help="Who decides (default: the name set once with `muniment me NAME`).")
@output_options
def command(archive: Path, entry: int, reason: str, by: str | None, as_json: bool, quiet: bool) -> None:
    """Gives up a ledger entry that ends too early and that no copy holds.

    Such an entry may have been a deposit, a hold or a correction: look in every copy first (`muniment repair`). Until
    somebody decides, nothing is read from the archive and nothing is written. Afterwards every `fixity` and every
    claim file says that the entry is void, who decided so, and why.

    \b
    Example:
      muniment void certificates 42 --reason "the disk failed; neither copy has it"
    """
    from archive import store
    from archive.cli import signer
    from archive.store.events import void

    opened = store.open_damaged(archive)
    opened.ledger.deciding = entry  # the user's key is looked up in the entries before it
    made = void(opened, entry, by=signer.name(by), reason=reason, sign=signer.sign(opened))
    if as_json:
        print_json({"voided": entry, "ledger_entry": made.number})
    elif not quiet:
        print_line(f"Ledger entry {entry} is void, by entry {made.number}; every fixity and claim says so from now on")
        print_next("fixity", archive)
