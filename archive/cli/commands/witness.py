"""muniment witness: heads remembered and countersigned on another machine."""

from __future__ import annotations

from pathlib import Path

import click

from archive.cli.common import ARCHIVE, done, output_options, print_json, print_line
from archive.vocabulary.counted import counted


@click.command("witness")
@click.argument("folder", type=click.Path(path_type=Path, file_okay=False), metavar="FOLDER")
@click.argument("archive", type=ARCHIVE, metavar="ARCHIVE")
@click.option(
    "--name", metavar="NAME", help="Name of the witness's key, such as witness.example; once, at the first time."
)
@output_options
def command(folder: Path, archive: Path, name: str | None, as_json: bool, quiet: bool) -> None:
    """Remembers the head of an archive in FOLDER, checks that it continues every head seen before, countersigns it.

    For somebody else than the keeper of the archive, such as a client or an insurer, on a machine of his own. Nothing
    is written into the archive, and nothing but the ledger is read. The note is a signed note of a checkpoint, as
    transparency logs have them; the key (Ed25519) is made at the first time and stays in FOLDER. Without the library
    to sign, the head is remembered only.

    \b
    Exit code 1: the ledger does not continue a head seen before; nothing is remembered or signed then.

    \b
    Example:
      muniment witness ~/witness /mnt/certificates --name witness.example
    """
    from archive import store
    from archive.store.witness import witness

    opened = store.open_damaged(archive)
    made = witness(folder, opened.root, opened.id, name)
    if as_json:
        before = made.before
        print_json(
            {
                "archive": opened.id,
                "ledger_size": made.size,
                "ledger_head": made.root,
                "before": None if before is None else {"seen": before.at, "size": before.size, "root": before.root},
                "not_continued": [{"seen": h.at, "size": h.size, "root": h.root} for h in made.broken],
                "consistency": made.proof,
                "note": made.note or None,
                "key": made.key or None,
            }
        )
    elif not quiet:
        print_line(f"{opened.id}, {counted(made.size, 'entry')}: head {made.root}")
        for head in made.broken:
            print_line(f"  NOT CONTINUED: {head.root} over {counted(head.size, 'entry')}, seen {head.at}")
        if made.broken:
            print_line("  The ledger was cut, rolled back or rewritten since; nothing was remembered or signed")
        elif made.before is None:
            print_line("  no head of this archive was seen before")
        else:
            print_line(f"  continues the head over {counted(made.before.size, 'entry')}, seen {made.before.at}")
        if made.key:
            print_line(f"  countersigned: {folder / opened.id / 'checkpoint.txt'}; key {made.key}")
        elif not made.broken:
            print_line(
                "  remembered, not signed: the library cryptography is not installed (`pip install muniment[sign]`)"
            )
    done(bool(made.broken))
