"""muniment identity: links whose tests contradict each other, until a person says same or different."""

from __future__ import annotations

from pathlib import Path

import click

from archive.cli.common import done, output_options, print_json, print_line, print_next, signer_options
from archive.errors import Trouble


@click.command("identity")
@click.argument("archive", type=click.Path(path_type=Path))
@click.argument("link", required=False)
@click.option("--job", metavar="J", help="Only links of this job.")
@click.option("--site", metavar="S", help="Only links of this site.")
@click.option("--same", is_flag=True, help="All these tests are of one link.")
@click.option("--different", is_flag=True, help="Each side is a link of its own.")
@signer_options
@output_options
def command(
    archive: Path,
    link: str | None,
    job: str | None,
    site: str | None,
    same: bool,
    different: bool,
    by: str | None,
    reason: str | None,
    as_json: bool,
    quiet: bool,
) -> None:
    """Lists labels of which it is in doubt whether their tests are of one link, and settles one with --same or
    --different. A doubt arises where tests contradict each other as cables do, or may be of either of two links
    that were tested at other places; until it is settled each side is counted as in doubt, and neither passes nor
    fails.

    A test that may be of several places of the schedule is in doubt in `muniment progress` alone, and is not listed
    here: what resolves it is its place, given with `muniment amend --set floor=...`.

    \b
    Exit code 1: something is in doubt.

    \b
    Example:
      muniment identity certificates
      muniment identity certificates 2-TR2-A117 --different --reason "Room was refitted in 2016"
    """
    from archive import store
    from archive.answers.doubts import doubts, settle
    from archive.cli import signer
    from archive.store.catalogue.filters import Filters

    opened = store.open(archive)
    if same or different:
        if link is None or same == different:
            raise Trouble("what is decided?", code="option.one-of", expected="a LINK and either --same or --different")
        chosen = Filters(link=link, job=job, site=site)
        who, sign = signer.name(by), signer.sign(opened)
        entry = settle(opened, chosen, same=same, by=who, reason=reason, sign=sign)
        if as_json:
            print_json({"ledger_entry": entry.number, "link": link, "same": same})
        elif not quiet:
            print_line(f"{link}: {'one link' if same else 'different links'}, by ledger entry {entry.number}")
            print_next("history", archive, link)
        done(False)
    found = doubts(opened, link, job=job, site=site)
    if as_json:
        print_json({"in_doubt": found})
    elif not quiet:
        for doubt in found:
            print_line(f"{doubt['link']}: {doubt['why']}")
            for side in doubt["sides"]:
                print_line(f"  {', '.join(side['tested'])}  {side['what']}")
        print_line(f"{len(found)} label{'s' * (len(found) != 1)} in doubt")
    done(bool(found))
