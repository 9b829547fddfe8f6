"""muniment attach: documents kept with the records."""

from __future__ import annotations

from pathlib import Path

import click

from archive.cli.common import ARCHIVE, done, output_options, print_json, print_line, print_next, say, signer_options

PATH = click.Path(path_type=Path)


@click.command("attach")
@click.argument("archive", type=ARCHIVE)
@click.argument("files", nargs=-1, required=True, type=PATH, metavar="FILE...")
@click.option("--job", required=True, metavar="J", help="Job that the documents belong to.")
@click.option("--link", metavar="L", help="Link that they belong to.")
@click.option(
    "--kind", required=True, metavar="KIND", help="certificate, drawing, photograph, letter, report or other."
)
@click.option(
    "--serial",
    "serials",
    multiple=True,
    metavar="N",
    help="Serial number of the unit that a certificate of calibration is of; several for a certificate of several.",
)
@click.option("--new", is_flag=True, help="The job or link is still to come.")
@click.option("--title", metavar="TEXT", help="Title.")
@click.option("--valid-from", metavar="D", help="First day for which it speaks (ISO 8601).")
@click.option("--valid-until", metavar="D", help="Last day for which it speaks (ISO 8601).")
@signer_options
@output_options
def command(
    archive: Path,
    files: tuple[Path, ...],
    job: str,
    link: str | None,
    kind: str,
    serials: tuple[str, ...],
    new: bool,
    title: str | None,
    valid_from: str | None,
    valid_until: str | None,
    by: str | None,
    reason: str | None,
    as_json: bool,
    quiet: bool,
) -> None:
    """Keeps certificates, drawings, photographs and letters with the records of a job that the archive knows.

    \b
    Example:
      muniment attach certificates cal-40-00317.pdf --job HARBOUR-2019-04 --kind certificate --serial 40-00317
    """
    from archive import store
    from archive.answers.known_names import check_job, check_link
    from archive.cli import signer
    from archive.store.documents import DocumentFacts, attach, programs
    from archive.store.names import check_job_name

    for program in programs(files):
        say(f"{program} is a program: whoever opens it from the archive runs it", quiet=quiet)
    opened = store.open(archive)
    check_job_name(job, "--job")
    if not new:
        check_job(opened, job, "check the job's name, or say --new where its records are still to come")
        if link is not None:
            check_link(opened, job, link)
    said = DocumentFacts(job, kind, link, serials, title, valid_from, valid_until)
    made = attach(opened, files, said, by=signer.name(by), reason=reason, sign=signer.sign(opened))
    if as_json:
        entry = None if made.entry is None else made.entry.number
        print_json({"entry": entry, "documents": made.rows, "filed_before": made.repeated})
    elif not quiet:
        for row in made.rows:
            unit = f", of unit {row['serial']}" if row["serial"] else ""
            print_line(f"filed: {row['file_name']} ({row['kind']}{unit}), SHA-256 {row['document_id']}")
        for path, name in made.repeated.items():
            print_line(f"not filed again: {path} has the same bytes as {name}")
        if not made.rows:
            print_line("nothing new: filed already")
        if link is not None:
            print_next("history", archive, link, "--job", job)
        else:
            print_next("job", archive, job)
    done(False)
