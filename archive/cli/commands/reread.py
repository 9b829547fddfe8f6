"""muniment reread: stored originals read again with a better mapping."""

from __future__ import annotations

from pathlib import Path

import click

from archive.cli.common import ARCHIVE, done, output_options, signer_options
from archive.cli.spreading import spread_options, workforce


@click.command("reread")
@click.argument("archive", type=ARCHIVE, metavar="ARCHIVE")
@click.option("--deposit", required=True, metavar="D", help="The deposit whose originals are read.")
@click.option(
    "--mapping",
    type=click.Path(path_type=Path),
    multiple=True,
    metavar="MAPPING.toml",
    help="Read by it the files it fits, and no others; may be given several times.",
)
@click.option("--file", "files", multiple=True, metavar="PATTERN", help="Only files of this name, such as week2/*.csv.")
@spread_options
@signer_options
@output_options
def command(
    archive: Path,
    deposit: str,
    mapping: tuple[Path, ...],
    files: tuple[str, ...],
    workers: int,
    scheduler: str | None,
    by: str | None,
    reason: str | None,
    as_json: bool,
    quiet: bool,
) -> None:
    """Reads the stored originals of a deposit again: a new deposit that refers to the old one.

    The new reading counts; the former one is kept. With --mapping only files that it recognises are read, without it
    all, by the readers of today. Lists of links are left alone, and what was read before is never set aside.

    \b
    Example:
      muniment reread certificates --deposit 2026-11-25-3f9a1c0712 --mapping petrel-2.toml --reason "wrong column"
    """
    from archive import store
    from archive.answers.intake import Choices
    from archive.answers.receipt import ReceiptFacts
    from archive.answers.reread import reread
    from archive.cli import receipts, signer

    opened = store.open(archive)
    how = Choices(sign=signer.sign(opened), workers=workforce(workers, scheduler, "", quiet=True).workers)
    made = reread(opened, deposit, mapping, files=files, by=signer.name(by), reason=reason, how=how)
    facts = ReceiptFacts(made, str(archive), made.plain().get("job"), archive_id=opened.id)
    receipts.show(facts, None, as_json=as_json, quiet=quiet, more={})
    done(made.look)
