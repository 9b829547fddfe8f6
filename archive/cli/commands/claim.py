"""muniment claim: the claim file of one link."""

from __future__ import annotations

from pathlib import Path

import click

from archive.cli.common import done, output_options, print_json

PATH = click.Path(path_type=Path)


@click.command("claim")
@click.argument("archive", type=PATH)
@click.argument("link")
@click.option("--job", metavar="J", help="Job.")
@click.option("--site", metavar="S", help="Site.")
@click.option("--out", required=True, type=PATH, metavar="DIR", help="A folder that is not there yet.")
@click.option("--retest", type=PATH, metavar="FILE", help="A fresh test that came with the complaint.")
@click.option("--reason", default="", metavar="TEXT", help="What the file is made for; it is printed.")
@click.option("--paper", type=click.Choice(["a4", "letter"]), default="a4", show_default=True, help="Paper size.")
@click.option("--locale", default="en", show_default=True, help="Numbers and dates, such as en_US or de.")
@click.option("--lengths", type=click.Choice(["m", "ft"]), default="m", show_default=True, help="Unit of lengths.")
@output_options
def command(
    archive: Path,
    link: str,
    job: str | None,
    site: str | None,
    out: Path,
    retest: Path | None,
    reason: str,
    paper: str,
    locale: str,
    lengths: str,
    as_json: bool,
    quiet: bool,
) -> None:
    """Writes everything the archive knows of one link into a folder that proves itself: PDF and HTML, the record in
    the open forms, the originals byte for byte, the proof.

    \b
    Example:
      muniment claim certificates 2-TR2-A117 --out claim-2-TR2-A117
      muniment claim certificates A117 --out claim --retest fresh.xml --reason "Letter of 3 May"
    """
    from archive import store
    from archive.answers.claim.gather import gather
    from archive.answers.claim.write import write
    from archive.answers.wording import Wording

    facts, originals = gather(store.open(archive), link, job=job, site=site, retest=retest, reason=reason)
    files = write(facts, originals, out, Wording(locale, lengths), paper=paper)
    s = facts.standing
    if as_json:
        print_json(
            {
                "link": facts.link,
                "standing": None if s is None else s.record["record_id"],
                "why": facts.why,
                "out": str(out),
                "files": files,
                "ledger_head": facts.head,
            }
        )
    elif not quiet:
        click.echo(f"{facts.link}: {facts.why}")
        click.echo(f"open {out / 'data' / 'claim.html'} or {out / 'data' / 'claim.pdf'}")
    done(False)
