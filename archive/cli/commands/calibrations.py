"""muniment calibrations: of test units, from a list or from digital certificates."""

from __future__ import annotations

from datetime import date
from pathlib import Path

import click

from archive.cli.common import ARCHIVE, done, output_options, print_json, print_line, print_next, say, signer_options
from archive.vocabulary.counted import counted

PATH = click.Path(path_type=Path)


@click.command("calibrations")
@click.argument("archive", type=ARCHIVE, metavar="ARCHIVE")
@click.argument("files", nargs=-1, type=PATH, metavar="[FILE...]")
@click.option("--valid-until", metavar="D", help="For units whose file states no end (ISO 8601).")
@click.option("--within", type=click.IntRange(0), default=60, show_default=True, metavar="DAYS", help="What ends soon.")
@signer_options
@output_options
def command(
    archive: Path,
    files: tuple[Path, ...],
    valid_until: str | None,
    within: int,
    by: str | None,
    reason: str | None,
    as_json: bool,
    quiet: bool,
) -> None:
    """Keeps calibrations, and lists the latest of each unit: calibrations.csv with the columns serial, calibrated_on,
    valid_until, maker, model, certificate and laboratory, or digital calibration certificates (XML; what is known of
    their schema is from memory, and their signatures are not checked). The files are kept byte for byte.

    \b
    Exit code 1: a row cannot be read, or a calibration has ended or ends soon.

    \b
    Example:
      muniment calibrations certificates calibrations.csv --by "A. Clerk"
      muniment calibrations certificates --within 30
    """
    from archive import store
    from archive.answers.health.calibrations import units
    from archive.cli import signer
    from archive.formats import calibrations
    from archive.store.events.calibrations import keep_calibrations

    opened, kept, refused, notes = store.open(archive), 0, [], []
    for path in files:
        found = calibrations.read(path, valid_until=valid_until)
        refused += found.refused
        notes += found.notes
        _, new = keep_calibrations(
            opened, path, found.data, found.rows, by=signer.name(by), reason=reason, sign=signer.sign(opened)
        )
        kept += len(new)
    listed = units(opened, date.today(), within)
    for line in notes:
        say(line, quiet=quiet)
    if as_json:
        print_json({"kept": kept, "refused": refused, "notes": notes, "units": [u.plain() for u in listed]})
    elif not quiet:
        if files:
            print_line(f"{counted(kept, 'calibration')} kept")
        for line in refused:
            print_line(f"not kept: {line}")
        for u in listed:
            print_line(f"{u.serial:<14} calibrated {u.calibrated_on or 'not stated'}, {u.words}")
        if not listed:
            print_line("no calibration is kept")
        if files:
            print_next("health", archive)
    done(bool(refused) or any(u.look for u in listed))
