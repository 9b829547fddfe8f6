"""muniment survey: what is in these files, folders and zips. Nothing is written."""

from __future__ import annotations

from typing import Any

import click

from archive.cli.common import done, output_options, print_json


@click.command("survey")
@click.argument("inputs", nargs=-1, required=True, metavar="INPUT...")
@click.option("--mapping", metavar="MAPPING.toml", help="Look at the files as this mapping or port map reads them.")
@output_options
def command(inputs: tuple[str, ...], mapping: str | None, as_json: bool, quiet: bool) -> None:
    """Tells what is in files, folders and zips: layout, encoding, units, number of records, what they can prove,
    and what would stay unmapped. Nothing is written.

    \b
    Exit code 1: a file is not recognised, or a record would be set aside.
    \b
    Example:
      muniment survey exports/ week2.zip
      muniment survey link-117.s4p
    """
    from archive.formats.survey import survey

    files = list(survey(inputs, mapping=mapping))
    if as_json:
        print_json({"files": [_document(f) for f in files]})
    elif not quiet:
        _tell(files)
    done(any(f.unread or f.set_aside for f in files))


def _document(file: Any) -> dict[str, Any]:
    return {
        "path": file.path,
        "layout": file.layout or None,
        "reason": file.reason,
        "records": file.records,
        "evidence": file.evidence or None,
        "encoding": file.encoding or None,
        "decimal_mark": file.decimal_mark or None,
        "units": file.units,
        "unmapped": file.unmapped,
        "set_aside": file.set_aside,
        "notes": file.notes,
        "draft": file.draft or None,
    }


def _tell(files: list[Any]) -> None:
    drafts = [f for f in files if f.draft]
    for file in files:
        click.echo(file.path)
        for line in _lines(file):
            click.echo(f"  {line}")
        if drafts and file is drafts[0]:
            click.echo("".join(f"    {line}\n" for line in file.draft.splitlines()), nl=False)
    if len(drafts) > 1:
        click.echo(f"{len(drafts)} files lack a map or mapping; `muniment survey FILE` prints a draft for one file.")
    counts = [_count(len(files), "file"), _count(sum(f.records for f in files), "record")]
    click.echo(", ".join([*counts, f"{sum(f.unread for f in files)} not read"]))


def _lines(file: Any) -> list[str]:
    """What is said of one file, below its path."""
    if file.unread:
        what = f"{file.layout}, but damaged" if file.layout else "not recognised"
        return [f"{what}: {'; '.join(file.set_aside) or file.reason}"]
    if not file.layout:
        return [file.reason]
    facts = [_count(file.records, "record")]
    facts += [f"evidence {file.evidence}"] if file.evidence else []
    facts += [f"encoding {file.encoding}"] if file.encoding else []
    facts += [f"decimal mark {file.decimal_mark}"] if file.decimal_mark else []
    facts += [f"units {', '.join(file.units)}"] if file.units else []
    lines = [f"{file.layout}: {file.reason}", "; ".join(facts), *file.notes]
    lines += [f"unmapped: {', '.join(file.unmapped)}"] if file.unmapped else []
    return lines + [f"would be set aside: {reason}" for reason in file.set_aside]


def _count(number: int, what: str) -> str:
    return f"{number} {what}" + ("" if number == 1 else "s")
