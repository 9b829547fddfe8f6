"""muniment job: a job's facts."""

from __future__ import annotations

from pathlib import Path

import click

from archive.cli.common import ARCHIVE, done, output_options, print_json, print_line, print_next, signer_options


@click.command("job")
@click.argument("archive", type=ARCHIVE)
@click.argument("job", metavar="J")
@click.option(
    "--set", "changes", multiple=True, metavar="FIELD=VALUE", help="State a fact; may be given several times."
)
@click.option("--new", is_flag=True, help="A new job is meant, though a known one has nearly the same name.")
@signer_options
@output_options
def command(
    archive: Path,
    job: str,
    changes: tuple[str, ...],
    new: bool,
    by: str | None,
    reason: str | None,
    as_json: bool,
    quiet: bool,
) -> None:
    """Shows or states a job's facts: name, client, site, zone, contractor, crew, required limit, cable, warranty,
    retention. A cable that is stated fills the records of the job that say nothing of theirs.

    \b
    Example:
      muniment job certificates HARBOUR-2019-04 --set warranty_start=2019-05-01 --set warranty_end=2044-04-30
    """
    from archive import store
    from archive.answers.job_memory import not_nearly_known
    from archive.answers.jobs import facts, state
    from archive.cli import signer

    opened = store.open(archive)
    if changes:
        if not new:
            not_nearly_known(opened, job)
        state(opened, job, changes, by=signer.name(by), reason=reason, sign=signer.sign(opened))
    found = facts(opened, job)
    if as_json:
        print_json(found)
    elif not quiet:
        for name, value in found.items():
            shown = ", ".join(value) if isinstance(value, list) else value
            if shown not in (None, "", []):
                print_line(f"{name.replace('_', ' '):<16} {shown}")
        if changes:
            print_next("progress", archive, "--job", job)
    done(False)
