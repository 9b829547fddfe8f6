"""muniment withdraw: out of every statistic, in no role; the bytes stay."""

from __future__ import annotations

from pathlib import Path

import click

from archive.cli.common import output_options, print_json, signer_options


@click.command("withdraw")
@click.argument("archive", type=click.Path(path_type=Path), metavar="ARCHIVE")
@click.option("--record", "records", multiple=True, metavar="R", help="A record; may be given more than once.")
@click.option("--deposit", "deposits", multiple=True, metavar="D", help="A whole deposit.")
@signer_options
@output_options
def command(
    archive: Path,
    records: tuple[str, ...],
    deposits: tuple[str, ...],
    by: str | None,
    reason: str | None,
    as_json: bool,
    quiet: bool,
) -> None:
    """Takes records or a deposit out of every statistic; they never stand again. Their bytes and proofs stay.

    Of two records in conflict, withdrawing the wrong one lets the other stand.

    \b
    Example:
      muniment withdraw certificates --deposit 2026-11-25-3f9a1c0712 --reason "wrong job"
    """
    from archive import store
    from archive.cli import signer
    from archive.store.events import withdraw

    opened = store.open(archive)
    entry = withdraw(
        opened,
        records=records,
        deposits=deposits,
        by=signer.name(by),
        reason=reason,
        sign=signer.sign(opened),
    )
    if as_json:
        print_json({"records": entry["records"], "deposits": entry["deposits"], "ledger_entry": entry.number})
    elif not quiet:
        click.echo(f"Withdrawn by ledger entry {entry.number}: {', '.join([*entry['records'], *entry['deposits']])}")
