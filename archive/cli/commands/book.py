"""muniment book: the hand-over book of a job."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

import click

from archive.cli.common import (
    ARCHIVE,
    done,
    output_options,
    print_json,
    print_line,
    print_next,
    progress,
    say,
    signer_options,
)
from archive.vocabulary.counted import counted

if TYPE_CHECKING:
    from archive.answers.book.book_facts import BookFacts
    from archive.answers.book.compose import Volume

PATH = click.Path(path_type=Path)


@click.command("book")
@click.argument("archive", type=ARCHIVE)
@click.option("--job", required=True, metavar="J", help="Job.")
@click.option("--out", required=True, type=PATH, metavar="DIR", help="A folder that is not there yet.")
@click.option(
    "--with",
    "sections",
    metavar="SECTION,...",
    help="summary, open-points, schedule, results, curves, instruments, findings, proof, cautions "
    "(by default all but curves).",
)
@click.option(
    "--per", type=click.Choice(["job", "floor", "link"]), default="job", show_default=True, help="A volume per."
)
@click.option("--columns", metavar="PARAMETER,...", help="Columns of the schedule, by parameter id.")
@click.option("--cover", type=PATH, metavar="FILE", help="A text of yours for the first page.")
@click.option("--no-record", is_flag=True, help="Make no entry in the ledger; without a key the book is not sealed.")
@click.option("--paper", type=click.Choice(["a4", "letter"]), default="a4", show_default=True, help="Paper size.")
@click.option("--locale", default="en", show_default=True, help="Language: en, en_US, de, fr, es.")
@click.option("--lengths", type=click.Choice(["m", "ft"]), default="m", show_default=True, help="Unit of lengths.")
@click.option("--words", "catalogue", type=PATH, metavar="FILE.po", help="A translation of the texts (gettext).")
@signer_options
@output_options
def command(
    archive: Path,
    job: str,
    out: Path,
    sections: str | None,
    per: str,
    columns: str | None,
    cover: Path | None,
    no_record: bool,
    paper: str,
    locale: str,
    lengths: str,
    catalogue: Path | None,
    by: str | None,
    reason: str | None,
    as_json: bool,
    quiet: bool,
) -> None:
    """Composes documents of a whole job for its owner from the sections asked for, as PDF and HTML, with the documents
    that are filed for it.

    The folder is sealed as a claim file is, and `muniment verify DIR` checks it.

    \b
    Example:
      muniment book certificates --job HARBOUR-2019-04 --out book
      muniment book certificates --job HARBOUR-2019-04 --out curves --with curves --per floor
    """
    from archive import store, vocabulary
    from archive.answers.book.book_folder import cover_text, issue
    from archive.answers.book.compose import asked, volumes
    from archive.answers.book.gather import gather
    from archive.answers.filed import documents_of
    from archive.answers.known_names import check_job
    from archive.answers.sealing.issue import issuer
    from archive.answers.wording import Wording
    from archive.atomic import require_empty
    from archive.cli import signer
    from archive.errors import Trouble

    wanted = asked(sections)
    shown = tuple(c.strip() for c in columns.split(",")) if columns else ()
    for name in shown:
        if name not in vocabulary.parameters():
            raise Trouble(
                "there is no such parameter",
                code="option.unknown-parameter",
                found=name,
                expected=", ".join(vocabulary.parameters()),
            )
    words = Wording(locale, lengths, catalogue)
    if not words.translated:
        say(f"there is no translation for {locale}: the book is in English, with its dates", quiet=quiet)
    require_empty(out)
    opened = store.open(archive)
    check_job(opened, job)
    facts = gather(opened, job, cover=cover_text(cover) if cover is not None else "")
    filed, photographs, files = documents_of(opened, facts.documents, "documents")
    facts = replace(facts, documents=filed, photographs=photographs)
    seals = issuer(archive, by=signer.name(by), reason=reason, sign=signer.sign, enter=not no_record)

    def make(of: BookFacts) -> Iterable[Volume]:
        made = volumes(of, wanted, words, per=per, paper=paper, columns=shown)
        return progress(made, "volumes", quiet=quiet or as_json)

    names = issue(facts, make, files, out, seals)
    if as_json:
        entry = None if seals.entry is None else seals.entry.number
        said = {"sealed": seals.note.sealed, "ledger_entry": entry, "why_no_entry": seals.note.why_not or None}
        print_json({"job": job, "out": str(out), "sections": list(wanted), "files": names, **said})
    elif not quiet:
        print_line(seals.told())
        print_line(f"{counted(len(names), 'file')} in {out}: {', '.join(names[:6])}{' ...' if len(names) > 6 else ''}")
        print_next("verify", out)
    done(False)
