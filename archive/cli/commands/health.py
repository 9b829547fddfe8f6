"""muniment health: what of an archive needs attention."""

from __future__ import annotations

from pathlib import Path

import click

from archive.cli.common import ARCHIVE, done, output_options, page_width, print_json, print_line

PATH = click.Path(path_type=Path)


@click.command("health")
@click.argument("archive", type=ARCHIVE, metavar="ARCHIVE")
@click.option("--html", "out", type=PATH, metavar="FILE", help="Write it as a page too: .html, .pdf or .txt.")
@click.option("--locale", default="en", show_default=True, metavar="L", help="Language of the page.")
@output_options
def command(archive: Path, out: Path | None, locale: str, as_json: bool, quiet: bool) -> None:
    """Says what of an archive needs attention: when fixity was last looked at and how deep, how old second copies are,
    unsigned entries, stamps, calibrations and warranties that end, jobs and cases that are open, what is set aside,
    and what is past its retention. It is meant for a task scheduler too; what is long or soon stands in
    schemas/health.toml.

    \b
    Exit code 1: something needs attention.

    \b
    Example:
      muniment health certificates --html /srv/status/health.html
    """
    from archive import store
    from archive.answers.documents import saved
    from archive.answers.documents.lines import lines
    from archive.answers.health.checks import checks
    from archive.answers.health.page import compose
    from archive.answers.wording import Wording
    from archive.store import clock

    words = Wording(locale)
    if out is not None:
        saved.check_form(out, "--html")
    opened, now = store.open(archive), clock.now()
    found = checks(opened, now)
    if out is not None:
        shown = found if words.original else checks(opened, now, words)
        saved.write(compose(shown, str(archive), now, words), out)
    if as_json:
        print_json({"attention": sum(c.look for c in found), "checks": [c.plain() for c in found]})
    elif not quiet:
        for line in lines(compose(found, str(archive), now), page_width()):
            print_line(line)
    done(any(c.look for c in found))
