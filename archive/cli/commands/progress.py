"""muniment progress: a job against its schedule."""

from __future__ import annotations

from datetime import datetime
from pathlib import Path

import click

from archive.cli.common import ARCHIVE, done, output_options, print_json, print_line
from archive.cli.filters import as_of_options, opened


@click.command("progress")
@click.argument("archive", type=ARCHIVE)
@click.option("--job", required=True, metavar="J", help="Job.")
@as_of_options
@output_options
def command(archive: Path, job: str, as_of: datetime | None, known: bool, as_json: bool, quiet: bool) -> None:
    """Tells what of a job is tested, passing, failing, marginal, missing, unexpected and late, over all its deposits.

    \b
    Exit code 1: the job is not complete.

    \b
    Example:
      muniment progress certificates --job HARBOUR-2019-04
    """
    from archive.answers import count_text
    from archive.answers.job_terms import breaches, sentences
    from archive.answers.known_names import jobs
    from archive.answers.progress import progress
    from archive.errors import Trouble
    from archive.near_names import offered
    from archive.store import disposed
    from archive.vocabulary.ranges import ranges

    held = opened(archive, as_of, known)
    found = progress(held, job, today=as_of.date() if as_of else None)
    if not found.links:
        held.rest_on_every_record()
        gone = disposed.remedy(held.db, job)
        raise Trouble(
            "nothing was deposited for this job",
            code="option.job-unknown",
            where=str(archive),
            found=job,
            expected="" if gone else offered(job, jobs(held)),
            remedy=gone or "check the job's name",
        )
    broken = breaches(held, job, found.links)
    if as_json:
        terms = [{"what": b.what, "expected": b.expected, "links": list(b.links)} for b in broken]
        print_json({**found.plain(), "terms": terms})
    elif not quiet:
        counts = found.counts
        state = "complete" if counts.complete else "not complete"
        print_line(f"job {job}: {state}" + ("" if counts.has_schedule else "; no schedule deposited"))
        rows = count_text.rows(counts)
        width = max(len(name) for name, _ in rows)
        for name, value in rows:
            print_line(f"  {name:<{width}}  {value}")
        for line in (*count_text.sums(counts), *count_text.beside(counts)):
            print_line(f"  {line}")
        for name in ("missing", "unexpected", "late", "failing", "in_conflict", "in_doubt"):
            if labels := counts.of(name):
                print_line(f"  {count_text.names()[name]}: {', '.join(ranges(labels))}")
        for sentence in sentences(broken):
            print_line(f"  {sentence}")
        for note in found.notes:
            print_line(f"  note: {note}")
    done(not found.counts.complete)
