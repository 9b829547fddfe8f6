"""muniment book: the hand-over book of a job."""

from __future__ import annotations

from pathlib import Path

import click

from archive.cli.common import done, output_options, print_json, print_line, progress

PATH = click.Path(path_type=Path)


@click.command("book")
@click.argument("archive", type=PATH)
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
@click.option("--paper", type=click.Choice(["a4", "letter"]), default="a4", show_default=True, help="Paper size.")
@click.option("--locale", default="en", show_default=True, help="Numbers and dates, such as en_US or de.")
@click.option("--lengths", type=click.Choice(["m", "ft"]), default="m", show_default=True, help="Unit of lengths.")
@click.option("--words", "catalogue", type=PATH, metavar="FILE.po", help="A translation of the texts (gettext).")
@output_options
def command(
    archive: Path,
    job: str,
    out: Path,
    sections: str | None,
    per: str,
    columns: str | None,
    cover: Path | None,
    paper: str,
    locale: str,
    lengths: str,
    catalogue: Path | None,
    as_json: bool,
    quiet: bool,
) -> None:
    """Composes documents of a whole job for its owner from the sections asked for, as PDF and HTML.

    \b
    Example:
      muniment book certificates --job HARBOUR-2019-04 --out book
      muniment book certificates --job HARBOUR-2019-04 --out curves --with curves --per floor
    """
    from archive import store, vocabulary
    from archive.answers.book.book_folder import cover_text, write
    from archive.answers.book.compose import asked, volumes
    from archive.answers.book.gather import gather
    from archive.answers.book.job_sections import DEFAULT_COLUMNS
    from archive.answers.wording import Wording
    from archive.atomic import require_empty
    from archive.errors import Trouble

    wanted = asked(sections)
    shown = tuple(c.strip() for c in columns.split(",")) if columns else DEFAULT_COLUMNS
    for name in shown:
        if name not in vocabulary.parameters():
            raise Trouble(
                "there is no such parameter",
                code="option.unknown-parameter",
                found=name,
                expected=", ".join(vocabulary.parameters()),
            )
    words = Wording(locale, lengths, catalogue)
    require_empty(out)
    facts = gather(store.open(archive), job, cover=cover_text(cover) if cover is not None else "")
    made = volumes(facts, wanted, words, per=per, paper=paper, columns=shown)
    names = write(progress(made, "volumes", quiet=quiet or as_json), out)
    if as_json:
        print_json({"job": job, "out": str(out), "sections": list(wanted), "files": names})
    elif not quiet:
        print_line(f"{len(names)} files in {out}: {', '.join(names[:6])}{' ...' if len(names) > 6 else ''}")
    done(False)
