"""muniment cables: words about cables, the types they count as, and settling them."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from archive.cli.common import ARCHIVE, done, output_options, print_json, print_line, print_next, signer_options


@click.command("cables")
@click.argument("archive", type=ARCHIVE, metavar="ARCHIVE")
@click.option("--out", type=click.Path(path_type=Path), metavar="FILE.csv", help="Write the list as a table.")
@click.option(
    "--settle",
    "table",
    type=click.Path(path_type=Path, exists=True, dir_okay=False),
    metavar="FILE.csv",
    help="Settle the rows of such a table whose column `settle` is filled: a type, or `rule` to take one back.",
)
@click.option("--propose", is_flag=True, help="Rank the types that the figures of the links fit; settles nothing.")
@signer_options
@output_options
def command(
    archive: Path,
    out: Path | None,
    table: Path | None,
    propose: bool,
    by: str | None,
    reason: str | None,
    as_json: bool,
    quiet: bool,
) -> None:
    """Lists the words about cables with their links, the type each counts as, on what that rests and what is not
    known; most links first. Settles words once for the archive: a new event. Nothing archived is rewritten.

    \b
    Exit code 1: the category of some cable is not known.

    \b
    Example:
      muniment cables certificates --out cables.csv
      muniment cables certificates --settle cables.csv --by "R. Ostrander" --reason "read off the drums"
    """
    from archive import store
    from archive.answers import cables
    from archive.cli import signer

    opened = store.open(archive)
    entry, settled = None, list[Any]()
    if table is not None:
        entry, settled = cables.settle(opened, table, by=signer.name(by), reason=reason, sign=signer.sign(opened))
    rows = cables.listed(opened)
    if propose:
        rows = cables.with_proposals(opened, rows)
    if out is not None:
        cables.write_table(rows, out)
    if as_json:
        otherwise = sum(map(cables.read_otherwise, rows))
        number = entry.number if entry is not None else None
        print_json({"cables": rows, "settled": len(settled), "ledger_entry": number, "read_otherwise": otherwise})
    elif not quiet:
        if table is not None:
            print_line(f"{len(settled)} settled" + (f" by ledger entry {entry.number}" if entry is not None else ""))
        _print(rows)
        if entry is not None:
            print_next("rates", archive, "--by", "cable_type")
        elif out is not None:
            print_next("cables", archive, "--settle", out, then="when its column settle is filled")
    done(any("class" in r["unknown"] or "class" in r["open"] for r in rows))


def _print(rows: list[dict[str, Any]]) -> None:
    from archive.answers.cables import BASES, read_otherwise

    if not rows:
        print_line("no record says anything of a cable")
    for row in rows:
        basis = BASES.get(row["basis"] or "", "nothing is said")
        if row["basis"] == "settled":
            basis = f"settled by {row['settled_by'] or 'somebody'}, {(row['settled_at'] or '')[:10]}"
        links = f"{row['links']} link{'s' * (row['links'] != 1)}"
        print_line(f"{row['words'] or '(no words)'} ({links}): {row['type']}")
        parts = [basis, *(f"{name}: {', '.join(row[name])}" for name in ("unknown", "open") if row[name])]
        print_line(f"  {'; '.join(parts)}")
        if read_otherwise(row):
            print_line(f"  this version's rules read {row['by_the_rules']}")
        for p in row.get("proposals", ()):
            print_line(f"  fits {p['type']}: {p['why']}")
    otherwise = [row for row in rows if read_otherwise(row)]
    if otherwise:
        links = sum(row["links"] for row in otherwise)
        print_line(
            f"this version's rules read another type than was archived: {len(otherwise)} of {len(rows)} rows, links: "
            f"{links}; the archived type counts until another is settled: write the table with --out, fill its column "
            "settle, and give it to --settle"
        )
