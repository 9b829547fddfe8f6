"""muniment convert: any layout into the open forms."""

from __future__ import annotations

from dataclasses import asdict
from pathlib import Path
from typing import Any

import click

from archive.cli.common import done, output_options, print_json, print_line, print_next, progress, progress_option, say
from archive.errors import Trouble

_MOST_SHOWN = 20


@click.command()
@click.argument("inputs", nargs=-1, required=True, type=click.Path(path_type=Path), metavar="INPUT...")
@click.option("--to", "out", required=True, type=click.Path(path_type=Path), help="File or folder to write.")
@click.option("--form", type=click.Choice(["xml", "csv", "parquet"]), help="Default: csv for OUT.zip, else xml.")
@click.option(
    "--mapping",
    type=click.Path(path_type=Path),
    multiple=True,
    metavar="MAPPING.toml",
    help="Read by it the files it fits; may be given several times.",
)
@click.option("--no-draft", is_flag=True, help="Use no drafted mapping, however sure it is.")
@click.option("--replace", is_flag=True, help="Replace what is at OUT.")
@progress_option
@output_options
def command(
    inputs: tuple[Path, ...],
    out: Path,
    form: str | None,
    mapping: tuple[Path, ...],
    no_draft: bool,
    replace: bool,
    as_json: bool,
    quiet: bool,
) -> None:
    """Convert exports into the open forms.

    INPUT is a file, a folder or a zip of any layout: open XML, CSV or Parquet, network-analyser files, or a layout
    with a mapping. A layout never seen is drafted, and read only where the draft is sure. xml goes into OUT.xml, or
    into a folder; csv into a folder, or into OUT.zip; parquet into a folder, one file per table. What cannot be read
    is set aside with its reason and reported (exit code 1, as for a finding that is an error); nothing is dropped.

    \b
    Example:
      muniment convert week1/ week2.zip --to job.xml
    """
    from archive import formats
    from archive.formats.conversion_account import ConversionAccount

    for path in inputs if replace else ():
        if out.resolve() in (path.resolve(), *path.resolve().parents):
            raise Trouble(
                "would take the place of what is read",
                code="option.overwrites-input",
                where=str(out),
                remedy="name another place",
            )
    form = form or ("csv" if out.suffix.lower() == ".zip" else "xml")
    reading = formats.read_all(inputs, mapping=mapping, draft=not no_draft, leave_out=[out])
    account = ConversionAccount()
    batches: Any = progress(reading, "converting", quiet=quiet or as_json, inputs=inputs)
    written = formats.write(account.counted(batches), out, form, replace=replace)
    if as_json:
        print_json(
            {
                "records": account.records,
                "set_aside": len(account.set_aside),
                "files": [asdict(f) for f in reading.files],
                "cells": account.cells,
                "form": form,
                "written": [str(p) for p in written],
                "set_aside_rows": account.set_aside,
                "findings": account.errors,
            }
        )
    else:
        _tell(account, reading.files, out, quiet)
    done(bool(account.set_aside or account.errors))


def _tell(account: Any, files: list[Any], out: Path, quiet: bool) -> None:
    cells = account.cells
    print_line(f"{_many(account.records, 'record')} from {_many(len(files), 'file')} written to {out}")
    if cells["read"]:
        print_line(
            f"cells: {cells['read']:,} read = {cells['mapped']:,} mapped + {cells['extras']:,} kept as extras"
            f" + {cells['ignored']:,} ignored by name"
        )
    for finding in account.errors[:_MOST_SHOWN]:
        of_link = f"{finding['link_label']}: " if finding["link_label"] else ""
        print_line(f"finding: {of_link}{finding['message']}")
    if not account.set_aside:
        print_next("check", out)
        return
    print_line(f"set aside: {len(account.set_aside):,}")
    for row in account.set_aside[:_MOST_SHOWN]:
        where = ", ".join(v for v in (row["path"], row["place"], row["link_label"]) if v)
        found = f"; found {row['found']}" if row["found"] else ""
        remedy = f". {row['remedy'][:1].upper()}{row['remedy'][1:]}" if row["remedy"] else ""
        print_line(f"  {where}: {row['reason']}{found}{remedy}")
    if len(account.set_aside) > _MOST_SHOWN:
        say(f"  and {len(account.set_aside) - _MOST_SHOWN:,} more, all of them in set_aside of {out}", quiet=quiet)
    print_next("check", out, then="when what was set aside was looked at")


def _many(count: int, noun: str) -> str:
    return f"{count:,} {noun}{'' if count == 1 else 's'}"
