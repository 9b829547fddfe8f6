"""muniment accept: the record on which a job was handed over."""

from __future__ import annotations

from datetime import date, datetime
from pathlib import Path

import click

from archive.cli.common import ARCHIVE, done, output_options, print_json, print_line, print_next, signer_options
from archive.errors import Trouble


@click.command("accept")
@click.argument("archive", type=ARCHIVE)
@click.option("--job", metavar="J", help="Accept this job as it stood on a day.")
@click.option("--on", type=click.DateTime(["%Y-%m-%d"]), metavar="DAY", help="With --job: the day (default: today).")
@click.option("--record", "records", multiple=True, metavar="R", help="Name this record as accepted in its job.")
@signer_options
@output_options
def command(
    archive: Path,
    job: str | None,
    on: datetime | None,
    records: tuple[str, ...],
    by: str | None,
    reason: str | None,
    as_json: bool,
    quiet: bool,
) -> None:
    """Names the accepted record of links: the one on which a job was handed over. Later tests change nothing of it.

    With --job, that is the latest complete test of each link on or before the day. --record names one by itself.

    \b
    Example:
      muniment accept certificates --job HARBOUR-2019-04 --on 2019-05-03 --reason "Minutes of 3 May"
    """
    from archive import store
    from archive.answers.known_names import check_job, links_named
    from archive.cli import signer
    from archive.store.events.accept import accept_job, accept_records

    if (job is None) == (not records) or (on is not None and job is None):
        raise Trouble("what is accepted?", code="option.one-of", expected="either --job J [--on DAY] or --record R")
    if on is not None and on.date() > date.today():
        raise Trouble(
            "a job cannot be accepted as of a day that is still to come",
            code="accept.day-to-come",
            where="--on",
            found=on.date().isoformat(),
            expected=f"{date.today().isoformat()} or earlier",
        )
    opened = store.open(archive)
    who, sign = signer.name(by), signer.sign(opened)
    if job is not None:
        check_job(opened, job)
        day = on.date() if on else date.today()
        entry = accept_job(opened, job, day, by=who, reason=reason, sign=sign)
        text = f"job {job} is accepted as it stood on {day.isoformat()}"
    else:
        entry = accept_records(opened, records, by=who, reason=reason, sign=sign)
        text = f"{len(records)} record{'s' * (len(records) != 1)} named as accepted"
    if as_json:
        print_json({"ledger_entry": entry.number, "job": job, "records": list(records)})
    elif not quiet:
        print_line(f"{text}, by ledger entry {entry.number}")
        labels = list({label for label, _ in links_named(opened, records) if label})
        if job is not None:
            print_next("progress", archive, "--job", job)
        elif len(labels) == 1:
            print_next("history", archive, labels[0])
        else:
            print_next("find", archive)
    done(False)
