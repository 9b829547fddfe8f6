"""muniment repair: repairs an archive from a second copy."""

from __future__ import annotations

from pathlib import Path

import click

from archive.cli.common import ARCHIVE, done, output_options, print_json, print_line, print_next


@click.command("repair")
@click.argument("archive", type=ARCHIVE, metavar="ARCHIVE")
@click.option("--from", "copy", required=True, type=ARCHIVE, metavar="COPY", help="A second copy.")
@output_options
def command(archive: Path, copy: Path, as_json: bool, quiet: bool) -> None:
    """Repairs what is damaged or missing from a second copy, with bytes whose digest is the right one and no others.

    Damaged files are moved to aside/damaged/, not thrown away; so are files that no ledger entry commits.

    \b
    Exit code 1: something could not be repaired.

    \b
    Example:
      muniment repair certificates --from /mnt/second/certificates
    """
    from archive import store
    from archive.store.copies import repair

    made = repair(store.open_damaged(archive), copy)
    if as_json:
        left = [{"path": d.path, "what": d.what} for d in made.left]
        print_json({"mended": made.repaired, "left": left, "kept_apart": made.kept_apart})
    elif not quiet:
        for path in made.repaired:
            print_line(f"  repaired {path}")
        for damage in made.left:
            print_line(f"  NOT REPAIRED {damage.path}: {damage.what}")
        print_line(f"{len(made.repaired)} repaired, {len(made.left)} not")
        print_next("fixity", archive)
    done(bool(made.left))
