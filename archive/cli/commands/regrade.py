"""muniment regrade: a new assessment over the archive, and what changed."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from archive.cli.common import ARCHIVE, done, output_options, print_json, print_line, print_next, say, signer_options
from archive.cli.filters import chosen, filter_options
from archive.cli.spreading import spread_options, workforce
from archive.vocabulary.counted import counted
from archive.vocabulary.limit_words import limit_words
from archive.vocabulary.ranges import ranges


@click.command("regrade")
@click.argument("archive", type=ARCHIVE, metavar="ARCHIVE")
@click.option("--against", multiple=True, metavar="LIMIT", help="A limit (default: the one that each record names).")
@filter_options
@spread_options
@signer_options
@output_options
def command(
    archive: Path,
    against: tuple[str, ...],
    workers: int,
    scheduler: str | None,
    by: str | None,
    reason: str | None,
    as_json: bool,
    quiet: bool,
    **filters: Any,
) -> None:
    """Grades records of the archive again and keeps the result as an assessment; what stands is not changed.

    \b
    Exit code 1: a record comes out otherwise than before, or could not be graded by a fault of this program.

    \b
    Example:
      muniment regrade certificates --against tia-568.2-d/cat6a/permanent-link --job HARBOUR-2019-04
    """
    from archive import store
    from archive.answers.regrade import regrade
    from archive.cli import signer

    opened = store.open(archive)
    made = regrade(
        opened,
        chosen(filters),
        against=list(against) or None,
        force=workforce(workers, scheduler, "grading", quiet=quiet),
        by=signer.name(by),
        reason=reason,
        sign=signer.sign(opened),
    )
    changes = made.changes.to_pylist()
    if as_json:
        print_json(
            {
                "assessment": made.entry["id"],
                "records": made.records,
                "verdicts": made.verdicts,
                "changed": changes,
                "ledger_entry": made.entry.number,
                "new": made.new,
            }
        )
    elif not quiet:
        alike: dict[str, list[str]] = {}
        for c in changes:
            became = (
                f"{c['verdict_before']} ({limit_words(c['limit_before'] or 'no limit')}) -> "
                f"{c['verdict']} ({c['limit_id']})"
            )
            alike.setdefault(became, []).append(str(c["link_label"]))
        for became, labels in alike.items():
            print_line(f"  {', '.join(ranges(sorted(labels)))}: {became}")
        words = ", ".join(f"{n} {word}" for word, n in sorted(made.verdicts.items()))
        print_line(f"{counted(made.records, 'record')} graded again ({words}), {len(changes)} otherwise than before")
        if not made.new:
            print_line(f"nothing new: ledger entry {made.entry.number} says the same")
        if len(against) == 1:
            print_next("rates", archive, "--limit", against[0], then="counts what this came to")
        else:
            print_next("find", archive, "--verdict", "fail")
    if made.faults:
        say(f"{made.faults} not graded by a fault of this program; the verdict says where", quiet=quiet)
    done(bool(changes or made.faults))
