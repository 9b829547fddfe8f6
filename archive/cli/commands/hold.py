"""muniment hold: a legal hold, and what has passed its day of retention."""

from __future__ import annotations

from datetime import date
from pathlib import Path

import click

from archive.cli.common import ARCHIVE, output_options, print_json, print_line, print_next, signer_options
from archive.errors import Trouble


@click.command("hold")
@click.argument("archive", type=ARCHIVE, metavar="ARCHIVE")
@click.option("--job", metavar="J", help="The job.")
@click.option("--release", is_flag=True, help="Release the hold.")
@click.option("--due", metavar="DAY", help="Only list the jobs that have passed their day of retention by this day.")
@signer_options
@output_options
def command(
    archive: Path,
    job: str | None,
    release: bool,
    due: str | None,
    by: str | None,
    reason: str | None,
    as_json: bool,
    quiet: bool,
) -> None:
    """Puts a job under a legal hold: nothing of it can be redacted or disposed of until the hold is
    released.

    With --due it lists the jobs that have passed their last day of retention. Nothing is ever deleted by itself.

    \b
    Example:
      muniment hold certificates --job HARBOUR-2019-04 --reason "claim 17"
      muniment hold certificates --due 2055-01-01
    """
    from archive import store
    from archive.answers.known_names import check_job
    from archive.cli import signer
    from archive.store.events import hold, holds, retention

    opened = store.open(archive)
    if job is not None:
        check_job(opened, job)
        who = signer.name(by)
        entry = hold(opened, job, release=release, by=who, reason=reason, sign=signer.sign(opened))
        if as_json:
            print_json({"job": job, "held": not release, "ledger_entry": entry.number})
        elif not quiet:
            print_line(f"{job}: {'released' if release else 'held'} by ledger entry {entry.number}")
            print_next("hold", archive, then="lists jobs, holds and days of retention")
        return
    try:
        on = date.fromisoformat(due) if due else date.today()
    except ValueError:
        raise Trouble(
            "not a date", code="option.not-a-day", where="--due", found=str(due), expected="such as 2055-01-01"
        ) from None
    listed = retention(opened, on)
    if as_json:
        print_json({"on": on.isoformat(), "held": holds(opened), "retention": listed})
    elif not quiet:
        for one in listed:
            until = (
                f"to be kept until {one['retain_until']} ({one['basis']})"
                if one["basis"]
                else "no day of retention known"
            )
            print_line(
                f"{one['job']}: {until}{', RUN OUT' if one['over'] else ''}{', under a hold' if one['held'] else ''}"
            )
