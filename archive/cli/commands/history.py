"""muniment history: everything that happened to one link."""

from __future__ import annotations

from pathlib import Path

import click

from archive.cli.common import done, output_options, print_json


@click.command("history")
@click.argument("archive", type=click.Path(path_type=Path))
@click.argument("link")
@click.option("--job", metavar="J", help="Job.")
@click.option("--site", metavar="S", help="Site.")
@output_options
def command(archive: Path, link: str, job: str | None, site: str | None, as_json: bool, quiet: bool) -> None:
    """Shows every test, rendition, re-reading, re-grade and event of one link, and which record counts and why.

    \b
    Example:
      muniment history certificates 2-TR2-A117
    """
    from archive import store
    from archive.answers.history import history
    from archive.answers.link import open_link

    opened = store.open(archive)
    found = open_link(opened, link, job=job, site=site)
    entries = history(opened, found)
    stands = found.standing
    if as_json:
        keep = ("kind", "when", "record", "by", "what", "standing", "deposit")
        print_json(
            {
                "link": found.label,
                "standing": None if stands is None else stands["record_id"],
                "why": found.why,
                "entries": [{k: e[k] for k in keep} for e in entries],
            }
        )
    elif not quiet:
        click.echo(f"{found.label}: {found.why}")
        for e in entries:
            who = f"  by {e['by']}" if e["by"] else ""
            click.echo(f"  {e['when'] or 'time unknown':<25} {e['kind']:<14} {e['what']}{who}")
    done(False)
