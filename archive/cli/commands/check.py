"""muniment check: what makes records evidence, and what does not."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import click

from archive.cli.common import done, output_options, print_json, print_line, progress, progress_option, say
from archive.errors import Trouble

PATH = click.Path(path_type=Path, dir_okay=False)


@click.command("check")
@click.argument("inputs", nargs=-1, required=True, metavar="INPUT...")
@click.option("--job", metavar="J", help="Of an archive: the job, over all its deposits, with its latest schedule.")
@click.option("--schedule", type=PATH, metavar="LINKS.csv", help="The links that were to be built (CSV or a workbook).")
@click.option("--schedule-columns", metavar="COLUMN=HEADING,...", help="Which heading of the schedule means what.")
@click.option("--policy", type=PATH, metavar="POLICY.toml", help="Severities and tolerances of the job.")
@click.option(
    "--mapping", multiple=True, metavar="MAPPING.toml", help="Read by it the files it fits; may be given several times."
)
@click.option("--sarif", type=PATH, metavar="FILE", help="Write the findings as SARIF 2.1.0.")
@click.option("--report", type=PATH, metavar="OUT.html|OUT.pdf", help="Write the acceptance report of one page.")
@click.option("--most", type=click.IntRange(0), metavar="N", help="Findings of one rule that are listed.")
@click.option("--no-copies", is_flag=True, help="Do not compare curves between links.")
@click.option("--today", metavar="DAY", help="The day that counts as today (ISO 8601; default: today).")
@progress_option
@output_options
def command(
    inputs: tuple[str, ...],
    job: str | None,
    schedule: Path | None,
    schedule_columns: str | None,
    policy: Path | None,
    mapping: tuple[str, ...],
    sarif: Path | None,
    report: Path | None,
    most: int | None,
    no_copies: bool,
    today: str | None,
    as_json: bool,
    quiet: bool,
) -> None:
    """Checks records against the rules of the catalogue: each by itself, and all of them as a job.

    Rules that had nothing to look at say so; that is no pass. `muniment rules` shows the catalogue. Of an archive, a
    job is checked over everything that was deposited for it.

    \b
    Exit code 1: a finding of severity error, a record set aside, or a bug in this program.

    \b
    Example:
      muniment check exports/ week2.zip --schedule links.csv --report acceptance.pdf
      muniment check certificates --job HARBOUR-2019-04 --report acceptance.pdf
    """
    from archive import grading
    from archive.answers.optical_links import OpticalLinks
    from archive.cli import checking
    from archive.validation import report as reports
    from archive.validation.check import run
    from archive.validation.job import JobCheck

    beside = [p for p in (schedule, policy, sarif, report) if p is not None]
    source = checking.source(inputs, job, mapping, beside, saved=bool(sarif or report))
    plan = checking.plan(schedule, schedule_columns, policy, today, report, source)
    whole = JobCheck(
        plan.policy, schedule=plan.schedule, places=plan.places, today=plan.today, with_copies=not no_copies
    )
    collected = reports.Collected(reports.KEPT if most is None or not as_json else most)
    checking.add_schedule(plan, collected)

    links = OpticalLinks(source.archive)
    for batch in progress(source.read(None), "checking", quiet=quiet, inputs=source.files):
        graded = links.add(grading.grade(batch)) if len(batch) else batch
        found = run(graded, plan.policy, today=plan.today)
        collected.add_batch(graded, found.findings, found.faults)
        whole.add(graded)
    if not collected.records and not collected.set_aside:
        raise Trouble(
            "there is no record to check",
            code="input.no-record",
            where=", ".join(inputs),
            remedy="See `muniment survey`.",
        )
    outcome = whole.finish(source.read)
    collected.add(outcome.findings, outcome.faults, outcome.places)
    summary = outcome.summary if source.counts is None else replace(outcome.summary, counts=source.counts)
    if sarif:
        checking.write_json(sarif, reports.sarif(collected))
    if report:
        checking.write_report(report, summary, collected, plan)
    if as_json:
        print_json(reports.document(collected, summary.counts))
    else:
        for line in reports.lines(collected, reports.MOST if most is None else most) if not quiet else ():
            print_line(line)
        say(reports.total(collected), quiet=quiet)
    if links.left_out:
        say(f"{links.left_out} optical records were too many to be graded with their other end", quiet=quiet)
    if source.retyped:
        of = f"{source.retyped} of {collected.records} records"
        say(f"cable types settled or stated for the job count in place of the archived ones: {of}", quiet=quiet)
    done(collected.anything_to_look_at)
