"""muniment identity: links whose tests contradict each other, until a person says same or different."""

from __future__ import annotations

import shlex
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from archive.cli.common import (
    ARCHIVE,
    done,
    output_options,
    print_json,
    print_line,
    print_next,
    print_next_text,
    signer_options,
)
from archive.errors import Trouble
from archive.vocabulary.counted import counted

if TYPE_CHECKING:
    from archive.answers.folder_doubts import FolderDoubt
    from archive.answers.schedule_doubts import ScheduleDoubt


@click.command("identity")
@click.argument("archive", type=ARCHIVE)
@click.argument("link", required=False)
@click.option("--job", metavar="J", help="Only links of this job.")
@click.option("--site", metavar="S", help="Only links of this site.")
@click.option("--same", is_flag=True, help="All these tests are of one link.")
@click.option("--different", is_flag=True, help="Each side is a link of its own.")
@click.option(
    "--folder",
    "folders",
    nargs=2,
    multiple=True,
    metavar="FOLDER FIELD=VALUE",
    help="What a folder tells of the place of its links, such as floor=2; keep: the records are right as they are.",
)
@signer_options
@output_options
def command(
    archive: Path,
    link: str | None,
    job: str | None,
    site: str | None,
    same: bool,
    different: bool,
    folders: tuple[tuple[str, str], ...],
    by: str | None,
    reason: str | None,
    as_json: bool,
    quiet: bool,
) -> None:
    """Lists labels of which it is in doubt whether their tests are of one link, and settles one with --same or
    --different. A doubt arises where tests contradict each other as cables do, or may be of either of two links
    that were tested at other places; until it is settled each side is counted as in doubt, and neither passes nor
    fails.

    A test that may be of several places of the schedule is listed, too; what resolves it is its place, given with
    `muniment amend --set floor=...`.

    A folder in which files were handed in may speak against the place that their records state, or hold tests of a
    label that lies in another folder too. It decides nothing: --folder settles that, by an amendment where it tells
    the place, or by an event that keeps the records as they are.

    \b
    Exit code 1: something is in doubt.

    \b
    Example:
      muniment identity certificates
      muniment identity certificates 2-TR2-A117 --different --reason "Room was refitted in 2016"
      muniment identity certificates --job HARBOUR-2019-04 --folder "floor 2" floor=2
    """
    from archive import store
    from archive.answers import folder_doubts
    from archive.answers.doubts import doubts, settle
    from archive.answers.schedule_doubts import schedule_doubts
    from archive.cli import signer
    from archive.store.catalogue.filters import Filters

    opened = store.open(archive)
    if same or different:
        if link is None or same == different:
            raise Trouble("what is decided?", code="option.one-of", expected="a LINK and either --same or --different")
        chosen = Filters(link=link, job=job, site=site)
        who, sign = signer.name(by), signer.sign(opened)
        entry = settle(opened, chosen, same=same, by=who, reason=reason, sign=sign)
        if as_json:
            print_json({"ledger_entry": entry.number, "link": link, "same": same})
        elif not quiet:
            print_line(f"{link}: {'one link' if same else 'different links'}, by ledger entry {entry.number}")
            print_next("history", archive, link)
        done(False)
    if folders:
        who, sign = signer.name(by), signer.sign(opened)
        told = folder_doubts.settle(opened, folders, job=job, by=who, reason=reason, sign=sign)
        if as_json:
            print_json({"settled": told})
        elif not quiet:
            for sentence in told:
                print_line(sentence)
            print_next("progress", archive, "--job", job or "JOB")
        done(False)
    found = doubts(opened, link, job=job, site=site)
    of_schedule = schedule_doubts(opened, link, job=job, site=site)
    of_folders = folder_doubts.all_folder_doubts(opened, job) if link is None and site is None else []
    if as_json:
        listed = [{"deposit": d.deposit, "folders": d.folders, "why": d.text} for d in of_folders]
        print_json({"in_doubt": found, "schedule": [d.plain() for d in of_schedule], "folders": listed})
    elif not quiet:
        _print(archive, job, found, of_schedule, of_folders)
    done(bool(found or of_schedule or of_folders))


def _print(
    archive: Path,
    job: str | None,
    found: list[dict[str, Any]],
    of_schedule: list[ScheduleDoubt],
    of_folders: list[FolderDoubt],
) -> None:
    for doubt in found:
        print_line(f"{doubt['link']}: {doubt['why']}")
        for side in doubt["sides"]:
            print_line(f"  {', '.join(side['tested'])}  {side['what']}")
    for between in of_schedule:
        print_line(f"{between.link} (job {between.job}): {between.why}")
    for of in of_folders:
        print_line(f"deposit {of.deposit}: {of.text}")
        print_line(f"  settle it: {of.settling()}, or with keep for what the folder tells")
    print_line(f"{len(found)} label{'s' * (len(found) != 1)} in doubt")
    if of_schedule:
        print_line(f"{counted(len(of_schedule), 'link')} that may be of several scheduled places")
    if of_folders:
        print_line(f"{len(of_folders)} doubt{'s' * (len(of_folders) != 1)} raised by folders")
    if found:
        print_next("identity", archive, found[0]["link"], "--same", then="or --different")
    elif of_folders:
        command = shlex.join(["muniment", "identity", str(archive), *(["--job", job] if job else [])])
        print_next_text(f"{command} {of_folders[0].settling()}")
