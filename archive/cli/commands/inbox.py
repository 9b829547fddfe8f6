"""muniment inbox: finished uploads, taken in whenever a scheduler asks."""

from __future__ import annotations

from pathlib import Path

import click

from archive.cli.common import ARCHIVE, done, output_options, print_json, print_line, print_next, signer_options
from archive.vocabulary.counted import counted

PATH = click.Path(path_type=Path)


@click.command("inbox")
@click.argument("inbox", type=PATH, metavar="DIR")
@click.option(
    "--into", "archive", type=ARCHIVE, metavar="ARCHIVE", help="The archive (default: the one set with `muniment me`)."
)
@click.option(
    "--rest",
    type=click.FloatRange(min=0),
    default=10,
    show_default=True,
    metavar="MINUTES",
    help="A file is taken once it was seen unchanged for so long, from one run to another; 0 takes it at once.",
)
@click.option("--summary", type=PATH, metavar="FILE", help="Write what was done, as .html, .pdf or .txt.")
@click.option("--mapping", type=PATH, multiple=True, metavar="MAPPING.toml", help="As for `muniment deposit`.")
@click.option("--accept-draft", is_flag=True, help="Take what drafts of unknown layouts read; else they are set aside.")
@click.option("--zone", metavar="ZONE", help="IANA time zone of sites whose jobs state none.")
@click.option("--locale", default="en", show_default=True, metavar="L", help="Language of the summary.")
@signer_options
@output_options
def command(
    inbox: Path,
    archive: Path | None,
    rest: float,
    summary: Path | None,
    mapping: tuple[Path, ...],
    accept_draft: bool,
    zone: str | None,
    locale: str,
    by: str | None,
    reason: str | None,
    as_json: bool,
    quiet: bool,
) -> None:
    """Takes finished uploads into an archive: DIR has a folder for each job, named as the job is. It is meant for a
    task scheduler; each run ends.

    Nothing in DIR is moved, changed or deleted. What the archive holds already is not taken again, and what was
    redacted or disposed of never comes back from here. A layout that nothing known reads is set aside: `muniment
    setaside` says how to take it in. Two runs never overlap.

    \b
    Exit code 1: something was set aside, contradicts another record or has an error finding, a folder or file was
    not taken, or lies in no folder of a job. Files that wait are no reason.

    \b
    Example:
      muniment inbox /srv/uploads --into certificates --summary /srv/status/inbox.html --by "Inbox, night shift"
    """
    from archive import store
    from archive.answers.documents import saved
    from archive.answers.inbox import InboxChoices, compose, take
    from archive.answers.wording import Wording
    from archive.cli import signer
    from archive.store import clock

    words = Wording(locale)
    if summary is not None:
        saved.check_form(summary, "--summary")
    place = archive or signer.archive()
    opened = store.open(place)
    how = InboxChoices(
        rest=rest,
        mapping=mapping,
        accept_draft=accept_draft,
        zone=zone,
        by=signer.name(by),
        reason=reason,
        sign=signer.sign(opened),
        leave_out=() if summary is None else (summary,),
    )
    run = take(opened, inbox, how)
    if summary is not None:
        saved.write(compose(run, str(place), clock.text(clock.now()), words), summary)
    if as_json:
        head = opened.head()
        print_json(
            {
                "jobs": [j.plain() for j in run.jobs],
                "loose": [{"file": name, "why": why} for name, why in run.loose.items()],
                "waiting": run.waiting,
                "summary": str(summary) if summary else None,
                "ledger_head": head.root,
                "ledger_size": head.size,
            }
        )
    elif not quiet:
        for j in run.jobs:
            told = j.plain()
            records = counted(told["records"] or 0, "record")
            deposit = f"deposit {told['deposit']}, {records}" if told["deposit"] else "no deposit"
            aside = f", {told['set_aside']} set aside" if told["set_aside"] else ""
            here = len(j.here) + len(j.nothing)
            print_line(
                f"{j.job}: {counted(len(j.taken), 'file')} taken ({deposit}{aside}), {here} here already, "
                f"{len(j.waiting)} waiting"
            )
            for line in [j.trouble] if j.trouble else []:
                print_line(f"  not taken: {line}")
            for path, why in j.left.items():
                print_line(f"  not taken: {path}: {why}")
        for name, why in run.loose.items():
            print_line(f"not looked at: {name}: {why}")
        if not run.jobs:
            print_line("there is no folder of a job")
        elif run.look:
            print_next("setaside", place)
        else:
            print_next("progress", place, "--job", run.jobs[0].job)
    done(run.look)
