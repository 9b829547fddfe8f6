"""muniment deposit: convert, check, grade, deduplicate, archive."""

from __future__ import annotations

from pathlib import Path

import click

from archive.cli.common import ARCHIVE, done, output_options, progress, progress_option, say, signer_options
from archive.cli.spreading import spread_options, workforce

PATH = click.Path(path_type=Path)


@click.command("deposit")
@click.argument("inputs", nargs=-1, type=PATH, metavar="INPUT...")
@click.option(
    "--into", "archive", type=ARCHIVE, metavar="ARCHIVE", help="The archive (default: the one set with `muniment me`)."
)
@click.option("--job", required=True, metavar="JOB", help="The job that the records belong to.")
@click.option("--site", metavar="SITE", help="Where the links are.")
@click.option("--zone", metavar="ZONE", help="IANA time zone of the site, such as Europe/Lisbon.")
@click.option("--schedule", type=PATH, metavar="LINKS.csv", help="The links that were to be built.")
@click.option("--schedule-columns", metavar="COLUMN=HEADING,...", help="Which heading of the schedule means what.")
@click.option("--whole-schedule", is_flag=True, help="The schedule is all: links that it leaves out are dropped.")
@click.option(
    "--mapping",
    type=PATH,
    multiple=True,
    metavar="MAPPING.toml",
    help="Read by it the files it fits; may be given several times.",
)
@click.option("--accept-draft", is_flag=True, help="What a draft of an unknown layout reads is taken as it is.")
@click.option(
    "--folder",
    "folders",
    nargs=2,
    multiple=True,
    metavar="FOLDER FIELD=VALUE",
    help="What a folder of the files tells of the place of its links, such as floor=2; keep: nothing.",
)
@click.option("--new", is_flag=True, help="A new job or site is meant, though a known one has nearly the same name.")
@click.option("--dry-run", is_flag=True, help="Tell what would happen; write nothing.")
@click.option(
    "--confirmed", metavar="DIGEST", help="`decided` of a dry run (--json): deposit just that, or nothing at all."
)
@click.option("--receipt", type=PATH, metavar="FILE", help="Write the receipt too, as .pdf, .html or .txt.")
@spread_options
@signer_options
@progress_option
@output_options
def command(
    inputs: tuple[Path, ...],
    archive: Path | None,
    job: str,
    site: str | None,
    zone: str | None,
    schedule: Path | None,
    schedule_columns: str | None,
    whole_schedule: bool,
    mapping: tuple[Path, ...],
    accept_draft: bool,
    folders: tuple[tuple[str, str], ...],
    new: bool,
    dry_run: bool,
    confirmed: str | None,
    receipt: Path | None,
    workers: int,
    scheduler: str | None,
    by: str | None,
    reason: str | None,
    as_json: bool,
    quiet: bool,
) -> None:
    """Archives exports, open forms and schedules of a job, and prints the receipt.

    What is there already is not archived twice. Interrupted, it is simply run again. Site, zone and schedule of a job
    are given once; what contradicts them is refused.

    \b
    Exit code 1: something was set aside, two records of one test contradict each other, a rule found an error,
    a draft left something without a place (0 with --accept-draft), what was handed in is here already under another
    job, or it is in doubt of which link a test is.

    \b
    Example:
      muniment deposit exports/ week2.zip --into certificates --job HARBOUR-2019-04 --zone Europe/Lisbon
    """
    from archive import store
    from archive.answers import intake
    from archive.answers.progress import progress as state_of_job
    from archive.answers.receipt import ReceiptFacts, check_form
    from archive.cli import checking, receipts, signer
    from archive.errors import Trouble
    from archive.store.deposits import DepositFacts

    if not inputs and schedule is None:
        raise Trouble(
            "nothing to deposit", code="option.nothing-given", expected="files, folders or zips, or a --schedule"
        )
    if receipt is not None:
        check_form(receipt)
    facts = DepositFacts(job=job, site=site, zone=zone, by=signer.name(by), reason=reason)
    place = archive or signer.archive()
    opened = store.open(place)
    choices = intake.Choices(
        mapping=mapping,
        schedule=schedule,
        schedule_columns=checking.columns_for(schedule_columns, schedule),
        whole_schedule=whole_schedule,
        sign=signer.sign(opened),
        dry_run=dry_run,
        confirmed=confirmed,
        new=new,
        accept_draft=accept_draft,
        folders=folders,
        workers=workforce(workers, scheduler, "", quiet=True).workers,
        watch=lambda b: progress(b, "depositing", quiet=quiet, inputs=inputs),
    )
    made = intake.ingest(opened, inputs, facts, choices)
    for stopped in opened.healed:
        say(f"{place}: {stopped} was stopped before it was committed; what it left was taken away", quiet=quiet)
    state = None if dry_run else intake.said_afterwards(made, lambda: state_of_job(opened, job), "the links of the job")
    told = ReceiptFacts(made, str(place), job, state, dry_run, inputs, opened.id)
    more = {"dry_run": dry_run, "healed": opened.healed}
    receipts.show(told, receipt, as_json=as_json, quiet=quiet, more=more)
    done(made.look or bool(state and state.counts["in_doubt"]))
