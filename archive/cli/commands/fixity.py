"""muniment fixity: whether an archive is as it was."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from archive.cli.common import ARCHIVE, done, output_options, print_json, print_line
from archive.cli.spreading import spread_options, workforce
from archive.vocabulary.counted import counted


@click.command("fixity")
@click.argument("archive", type=ARCHIVE, metavar="ARCHIVE")
@click.option(
    "--depth",
    type=click.Choice(["count", "digest", "deep"]),
    default="digest",
    show_default=True,
    help="count: names and sizes. digest: every byte. deep: every record made again.",
)
@click.option("--expect", metavar="HEAD", help="A ledger head, as a receipt gives it, that the archive must hold.")
@click.option("--accept", is_flag=True, help="Remember today's ledger on this machine, whatever was seen before.")
@spread_options
@output_options
def command(
    archive: Path,
    depth: str,
    expect: str | None,
    accept: bool,
    workers: int,
    scheduler: str | None,
    as_json: bool,
    quiet: bool,
) -> None:
    """Checks that everything in an archive is as it was, and says how deep it looked and against which head. Each run
    leaves a line in catalogue/fixity.log, or in your cache where you may not write there; `muniment health` reads it.

    \b
    Exit code 1: something is damaged, missing or added, or the ledger was cut or rewritten.

    \b
    Example:
      muniment fixity certificates
      muniment fixity certificates --depth deep --expect 4be1...
    """
    from archive import store
    from archive.answers.rederive import rederive
    from archive.store.fixity import fixity
    from archive.store.fixity.log import note

    opened = store.open_damaged(archive)
    report = fixity(
        opened,
        depth,
        expect=expect,
        accept=accept,
        reread=rederive,
        force=workforce(workers, scheduler, "entries", quiet=quiet),
    )
    logged = note(opened, report)
    document = {**report.plain(), "log": None if logged is None else str(logged)}
    if as_json:
        print_json(document)
    elif not quiet:
        _print(document)
    done(not report.sound)


def _print(document: dict[str, Any]) -> None:
    ledger = document["ledger"]
    print_line(f"{'Sound' if document['sound'] else 'NOT SOUND'} by {document['depth']} ({document['depth_means']})")
    print_line(f"  {document['sound_deposits']} of {document['deposits']} deposits sound")
    print_line(f"  {counted(document['records'], 'record')}, {counted(document['files'], 'file')}")
    if earlier := document["looked_at_earlier"]:
        print_line(
            f"  {counted(earlier['entries'], 'entry')} of these were looked at in a run that was interrupted, "
            f"from {earlier['from']} on"
        )
    if redactions := document["redactions"]:
        number = len({path for r in redactions for path in r["files"]})
        entries = ", ".join(str(r["entry"]) for r in redactions)
        print_line(
            f"  {number} file{'s' * (number != 1)} redacted, by ledger {'entries' if len(redactions) > 1 else 'entry'} "
            f"{entries}: the bytes that went cannot be checked, the ledger keeps their digests"
        )
    for d in document["disposals"]:
        what = f"{counted(d['records'], 'record')}, {counted(len(d['files']), 'file')}"
        print_line(
            f"  job {d['job']} disposed of by ledger entry {d['entry']}: {what}; "
            "manifests and digests are left and were checked"
        )
    print_line(f"  ledger: {counted(ledger['entries'], 'entry')}, head {ledger['head']}, chain {ledger['chain']}")
    print_line(f"  checked against {document['checked_against']}")
    if any(ledger["signatures"].values()):
        print_line("  entries " + ", ".join(f"{word}: {n}" for word, n in ledger["signatures"].items()))
    for copy in document["copies"]:
        print_line(f"  copy {copy['path']} was last verified {copy['at']}, with {counted(copy['size'], 'entry')}")
    if not document["copies"]:
        print_line("  no second copy was ever verified from this machine")
    for damage in document["damaged"]:
        print_line(f"  DAMAGED {damage['path']}: {damage['what']}")
    for path in document["uncommitted"]:
        print_line(f"  without a ledger entry, counted nowhere: {path}")
    for caution in document["cautions"]:
        print_line(f"  to know, no damage: {caution}")
    for finding in document["findings"]:
        print_line(f"  finding, no damage: {finding['message']}")
