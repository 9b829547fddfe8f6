"""muniment progress: a job against its schedule."""

from __future__ import annotations

from datetime import datetime
from pathlib import Path

import click

from archive.cli.common import done, output_options, print_json
from archive.cli.filters import as_of_options, opened


@click.command("progress")
@click.argument("archive", type=click.Path(path_type=Path))
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
    from archive.answers.progress import progress
    from archive.errors import Trouble

    found = progress(opened(archive, as_of, known), job, today=as_of.date() if as_of else None)
    if not found.links:
        raise Trouble(
            "nothing was deposited for this job",
            code="option.job-unknown",
            where=str(archive),
            found=job,
            remedy="check the job's name",
        )
    if as_json:
        print_json(found.plain())
    elif not quiet:
        p = found.plain()
        click.echo(f"job {job}: " + ("complete" if found.complete else "not complete"))
        scheduled = "no schedule deposited" if p["scheduled"] is None else str(p["scheduled"])
        rows = [("scheduled", scheduled)] + [
            (k.replace("_", " "), str(p[k]))
            for k in ("tested", "passing", "failing", "not_graded", "marginal", "provisional")
        ]
        for name, value in rows:
            click.echo(f"  {name:<12} {value}")
        for name in ("missing", "unexpected", "late"):
            if p[name]:
                click.echo(f"  {name:<12} {len(p[name])}: {', '.join(p[name])}")
        failing = [x.label for x in found.links if x.verdict == "fail"]
        if failing:
            click.echo(f"  fail         {', '.join(failing)}")
        for note in p["notes"]:
            click.echo(f"  note         {note}")
    done(not found.complete)
