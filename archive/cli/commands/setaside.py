"""muniment setaside: what could not be read, why, and how to take it in again."""

from __future__ import annotations

from pathlib import Path

import click

from archive.cli.common import done, output_options, print_json, print_line


@click.command("setaside")
@click.argument("archive", type=click.Path(path_type=Path))
@click.option("--job", metavar="J", help="Of this job alone.")
@output_options
def command(archive: Path, job: str | None, as_json: bool, quiet: bool) -> None:
    """Lists what was set aside, with its reason and what to do. The originals are in the archive all the same.

    \b
    Exit code 1: something is set aside and not settled by a later deposit.

    \b
    Example:
      muniment setaside certificates --job HARBOUR-2019-04
    """
    from archive import store
    from archive.answers.setaside import set_aside

    rows = set_aside(store.open(archive), job)
    if as_json:
        print_json({"set_aside": rows})
    elif not quiet:
        for r in rows:
            place = ", ".join(x for x in (r["path"], r["place"], r["link_label"]) if x)
            print_line(
                f"{r['deposit']}  {place}: {r['reason']}" + ("  (settled by a later deposit)" if r["settled"] else "")
            )
            if r["remedy"] and not r["settled"]:
                print_line(f"    {r['remedy']}")
        open_rows = [r for r in rows if not r["settled"]]
        if open_rows:
            print_line(
                "Mend the file and deposit it again, or write a better mapping and run "
                f"`muniment reread {archive} --deposit {open_rows[0]['deposit']} --mapping M`."
            )
        elif not rows:
            print_line("nothing is set aside")
    done(any(not r["settled"] for r in rows))
