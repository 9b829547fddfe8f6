"""muniment history: everything that happened to one link."""

from __future__ import annotations

from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING

import click

from archive.cli.common import ARCHIVE, done, output_options, print_json, print_line
from archive.cli.filters import as_of_options, opened

if TYPE_CHECKING:
    from archive.store.roles import Role


@click.command("history")
@click.argument("archive", type=ARCHIVE)
@click.argument("link")
@click.option("--job", metavar="J", help="Job.")
@click.option("--site", metavar="S", help="Site.")
@click.option("--record", metavar="R", help="One of its records, where several links have the label.")
@click.option("--role", type=click.Choice(["accepted", "current"]), help="Which role to show.")
@as_of_options
@output_options
def command(
    archive: Path,
    link: str,
    job: str | None,
    site: str | None,
    record: str | None,
    role: Role | None,
    as_of: datetime | None,
    known: bool,
    as_json: bool,
    quiet: bool,
) -> None:
    """Shows every test, rendition, re-reading, re-grade and event of one link, and which record counts and why.

    \b
    Example:
      muniment history certificates 2-TR2-A117
    """
    from archive.answers.history import history, link_cautions
    from archive.answers.link import open_link

    held = opened(archive, as_of, known)
    found = open_link(held, link, job=job, site=site, record=record, role=role)
    entries = history(held, found)
    cautions = link_cautions(held, found)
    stands = found.standing
    if as_json:
        keep = ("kind", "when", "entry", "record", "by", "what", "leading", "standing", "deposit")
        print_json(
            {
                "link": found.label,
                "standing": None if stands is None else stands["record_id"],
                "role": found.role,
                "accepted": None if found.accepted is None else found.accepted["record_id"],
                "current": None if found.current is None else found.current["record_id"],
                "later_lesser_fails": found.lesser_fails,
                "in_doubt": found.doubt or None,
                "why": found.why,
                "cautions": cautions,
                "entries": [{k: e[k] for k in keep} for e in entries],
            }
        )
    elif not quiet:
        print_line(f"{found.label}: {found.why}")
        for caution in cautions:
            print_line(f"  to know: {caution}")
        said: dict[str, int] = {}
        for e in entries:
            leading = f"; {e['leading']}" if e["leading"] else ""
            who = f"  by {e['by']}" if e["by"] else ""
            line = f"  {e['when'] or 'time unknown'}  {e['kind']}: {e['what']}{leading}{who}"
            said[line] = said.get(line, 0) + 1
        for line, times in said.items():
            print_line(line + (f"  ({times} records)" if times > 1 else ""))
    done(False)
