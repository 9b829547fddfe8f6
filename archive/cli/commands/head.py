"""muniment head: the head of an archive's ledger, to be kept elsewhere."""

from __future__ import annotations

from pathlib import Path

import click

from archive.cli.common import ARCHIVE, done, output_options, print_json, print_line
from archive.vocabulary.counted import counted


@click.command("head")
@click.argument("archive", type=ARCHIVE, metavar="ARCHIVE")
@click.option(
    "--watch",
    type=click.Path(path_type=Path, dir_okay=False),
    metavar="FILE",
    help="Compare with the heads seen before, which FILE holds, and append today's. Keep FILE outside the archive.",
)
@output_options
def command(archive: Path, watch: Path | None, as_json: bool, quiet: bool) -> None:
    """Prints the head of the ledger, which stands for everything in the archive: as digits, and as a line to type.

    The whole ledger is read. A head that is held elsewhere shows whether the archive was rewritten as a whole.

    \b
    Exit code 1: the ledger does not continue a head in FILE; nothing is appended then.

    \b
    Example:
      muniment head certificates --watch ~/heads.txt
    """
    from archive import store
    from archive.store import head_digits, heads

    opened = store.open_damaged(archive)
    chain = heads.sound_chain(opened.root, opened.id)
    size, root = len(chain.roots), chain.roots[-1]
    seen = [] if watch is None else heads.read_heads(watch, opened.id)
    broken = heads.not_continued(chain, seen)
    kept = watch is not None and not broken and heads.keep_head(watch, opened.id, chain, seen)
    if as_json:
        lost = [{"seen": h.at, "size": h.size, "root": h.root} for h in broken]
        print_json(
            {
                "archive": opened.id,
                "ledger_size": size,
                "ledger_head": root,
                "compared": len(seen),
                "not_continued": lost,
                "kept": kept,
            }
        )
    elif not quiet:
        print_line(f"{opened.id}, {counted(size, 'entry')}")
        print_line(f"  head {root}")
        print_line("  to type:")
        print_line(f"    {head_digits.grouped(root)}")
        for head in broken:
            print_line(f"  NOT CONTINUED: {head.root} over {counted(head.size, 'entry')}, seen {head.at}")
        if broken:
            print_line("  The ledger was cut, rolled back or rewritten since; nothing was appended")
        elif watch is not None:
            words = (
                f"continues {'all ' * (len(seen) > 1)}{counted(len(seen), 'head')}"
                if seen
                else "no head of this archive was in it before"
            )
            print_line(f"  {watch}: {words}{'; appended' if kept else ''}")
    done(bool(broken))
