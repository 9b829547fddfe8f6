"""muniment redact: removes a name or a file, leaves a tombstone and every other proof."""

from __future__ import annotations

from pathlib import Path

import click

from archive.cli.common import (
    ARCHIVE,
    done,
    output_options,
    print_json,
    print_line,
    print_next,
    print_next_text,
    say,
    signer_options,
)
from archive.errors import Trouble


@click.command("redact")
@click.argument("archive", type=ARCHIVE, metavar="ARCHIVE")
@click.option("--name", metavar="NAME", help="Take this name out of every table of people.")
@click.option("--file", "path", metavar="PATH", help="Take out a file, by its path in the archive.")
@click.option(
    "--with",
    "replacement",
    type=click.Path(path_type=Path, exists=True, dir_okay=False),
    metavar="FILE",
    help="What is to stand in place of the file.",
)
@click.option("--dry-run", is_flag=True, help="Tell what would go; change nothing.")
@signer_options
@output_options
def command(
    archive: Path,
    name: str | None,
    path: str | None,
    replacement: Path | None,
    dry_run: bool,
    by: str | None,
    reason: str | None,
    as_json: bool,
    quiet: bool,
) -> None:
    """Removes a person's name, or a file. A tombstone keeps digest and reason; the proofs of everything else hold.

    A name may also stand in originals and documents (zips, gzip, tar, 7z, workbooks and mails are looked into, in
    every encoding), in texts of cases, and in cells that no column took: those files are listed, and so is each that
    could not be looked into, such as a PDF or a photograph; they are redacted one by one with --file. One file of a
    zip goes by itself, as 'deposits/.../originals.zip: crew.txt'; the others stay as they were received. Of a step of
    a case (events/.../event.json) the texts go, and the number of the case, its link, days and costs stay; --with
    names a file that is to stand there instead. Second copies are brought up to date with `muniment export`.

    \b
    Exit code 1: the name stands in other files, too, or may.

    \b
    Example:
      muniment redact certificates --name "R. Ostrander" --reason "request of 3 May"
      muniment redact certificates --file "deposits/2026/2026-05-03-1f0c/data/originals.zip: crew.txt" --reason "same"
    """
    from archive import store
    from archive.answers.named_places import NOT_LOOKED_INTO, named_places
    from archive.cli import signer
    from archive.store.events.redact import of_file, of_name, redact

    if (name is None) == (path is None):
        raise Trouble("what is to go?", code="option.one-of", expected="either --name NAME or --file PATH")
    opened = store.open(archive)
    opened.catch_up()

    def elsewhere() -> list[str]:
        return [place for place in named_places(opened, str(name)) if not place.endswith(NOT_LOOKED_INTO)]

    plan = of_name(opened, name, elsewhere) if name is not None else of_file(opened, str(path), replacement)
    entry = None
    if not dry_run:
        entry = redact(opened, plan, by=signer.name(by), reason=reason, sign=signer.sign(opened))
    left = sorted(set(named_places(opened, name))) if name is not None else []
    if plan.done_by is not None:
        say(f"redacted before, by ledger entry {plan.done_by}: nothing new", quiet=quiet)
    if as_json:
        number = entry.number if entry else None
        print_json({"files": sorted(plan.gone), "people": plan.people, "still_in": left, "ledger_entry": number})
    elif not quiet:
        for gone in sorted(plan.gone):
            print_line(f"  {'would go' if dry_run else 'gone'}: {path if plan.parts else gone}")
        for gone, parts in plan.parts.items():
            others = (
                "nothing else was in it" if plan.gone[gone] is None else "what else is in it stays as it was received"
            )
            print_line(f"  SHA-256 {parts[0]['sha256']}; {others}")
        if plan.stays:
            print_line(f"  in its place {'would stay' if dry_run else 'stays'}: {plan.stays}")
        for place in left:
            print_line(f"  the name {'may be' if place.endswith(NOT_LOOKED_INTO) else 'is also'} in {place}")
        print_line(f"Redacted by ledger entry {entry.number}" if entry else "Dry run: nothing was changed")
        if entry:
            print_next("fixity", archive, then="and do the same in every second copy")
        elif dry_run:
            print_next_text("the same command without --dry-run")
        if left:
            number = len(left)
            others = "1 other file" if number == 1 else f"{number} other files"
            print_line(
                f"To be looked at: the name is, or may be, in {others}; take each out with `redact --file PLACE`"
            )
    done(bool(left))
