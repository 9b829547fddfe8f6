"""muniment withdraw: out of every statistic, in no role; the bytes stay."""

from __future__ import annotations

from pathlib import Path

import click

from archive.cli.common import ARCHIVE, output_options, print_json, print_line, print_next, signer_options


@click.command("withdraw")
@click.argument("archive", type=ARCHIVE, metavar="ARCHIVE")
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
    """Takes records or a deposit out of every statistic; they have no role any more. Their bytes and proofs stay.

    Of two records in conflict, withdrawing the wrong one lets the other count.

    \b
    Example:
      muniment withdraw certificates --deposit 2026-11-25-3f9a1c0712 --reason "wrong job"
    """
    from archive import store
    from archive.answers.known_names import links_named
    from archive.answers.link import people
    from archive.cli import signer
    from archive.store.events.withdraw import withdraw, withdrawals

    opened = store.open(archive)
    who, sign = signer.name(by), signer.sign(opened)
    entry = withdraw(opened, records=records, deposits=deposits, by=who, reason=reason or "", sign=sign)
    former = withdrawals(opened, records, deposits) if entry is None else []
    if as_json:
        done = entry or former[-1]
        print_json({"records": done["records"], "deposits": done["deposits"], "ledger_entry": done.number})
    elif not quiet and entry is not None:
        print_line(f"withdrawn by ledger entry {entry.number}: {', '.join([*entry['records'], *entry['deposits']])}")
        labels = list({label for label, _ in links_named(opened, entry["records"]) if label})
        if len(labels) == 1:
            print_next("history", archive, labels[0], then="shows which record counts now")
        else:
            print_next("find", archive, then="shows which records count now")
    elif not quiet:
        for e in former:
            name = people(opened, [e.get("by")], [e]).get(e.get("by") or "", "somebody who is not named")
            print_line(
                f"withdrawn already, by ledger entry {e.number} of {e.get('at')}, by {name}; nothing was written"
            )
