"""muniment survey: what is in these files, folders and zips. Nothing is written."""

from __future__ import annotations

from typing import Any

import click

from archive.cli.common import done, output_options, print_json, print_line
from archive.cli.plain import exact_output
from archive.errors import Trouble


@click.command("survey")
@click.argument("inputs", nargs=-1, required=True, metavar="INPUT...")
@click.option(
    "--mapping", multiple=True, metavar="MAPPING.toml", help="Read by it the files it fits; may be given several times."
)
@click.option("--draft", is_flag=True, help="Print nothing but the drafted map or mapping of the one file.")
@output_options
def command(inputs: tuple[str, ...], mapping: tuple[str, ...], draft: bool, as_json: bool, quiet: bool) -> None:
    """Shows what is in files, folders and zips: layout, encoding, units, number of records, what they can prove,
    and what would stay unmapped. Nothing is written.

    \b
    Exit code 1: a file is not recognised, a record would be set aside, or measured numbers stand in no table.

    \b
    Example:
      muniment survey exports/ week2.zip
      muniment survey link-117.s4p
      muniment survey link-117.s4p --draft > link-117.toml
    """
    from archive.formats.survey import survey

    files = list(survey(inputs, mapping=mapping))
    if draft:
        click.echo(_only_draft(files), file=exact_output(), nl=False)
        return
    if as_json:
        print_json({"files": [_document(f) for f in files]})
    elif not quiet:
        _print(files)
    done(any(f.unread or f.set_aside or f.errors for f in files))


def _only_draft(files: list[Any]) -> str:
    """The draft of the one file. Errors: Trouble where there is not one draft."""
    drafts = [str(f.draft) for f in files if f.draft]
    if len(drafts) == 1:
        return drafts[0]
    reasons = [reason for f in files for reason in ([f.reason] if f.unread and not f.set_aside else f.set_aside)]
    why = f" ({reasons[0]})" if reasons else ""
    raise Trouble(
        "there is not one draft to print",
        code="survey.no-single-draft",
        found=f"{_count(len(drafts), 'draft')} for {_count(len(files), 'file')}{why}",
        expected="one file that lacks its map or mapping",
    )


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
        "errors": file.errors,
        "draft": file.draft or None,
    }


def _print(files: list[Any]) -> None:
    drafts = [f for f in files if f.draft]
    beside: dict[str, list[str]] = {}
    for file in files:
        if file.read_with:
            beside.setdefault(file.read_with, []).append(file.path)
    for file in files:
        if file.read_with:
            continue
        print_line(file.path)
        for line in _lines(file, beside.get(file.path, [])):
            print_line(f"  {line}")
        if drafts and file is drafts[0]:
            click.echo("".join(f"    {line}\n" for line in file.draft.splitlines()), nl=False)
    if len(drafts) > 1:
        print_line(f"{len(drafts)} files lack a map or mapping; `muniment survey FILE` prints a draft for one file.")
    counts = [_count(len(files), "file"), _count(sum(f.records for f in files), "record")]
    print_line(", ".join([*counts, f"{sum(f.unread for f in files)} not read"]))


def _lines(file: Any, beside: list[str]) -> list[str]:
    """The lines for one file, below its path. beside: files that are read together with it."""
    if file.unread:
        what = f"{file.layout}, but damaged" if file.layout else "not recognised"
        return [f"{what}: {'; '.join(file.set_aside) or file.reason}"]
    facts = [_count(file.records, "record")]
    facts += [f"evidence {file.evidence}"] if file.evidence else []
    facts += [f"encoding {file.encoding}"] if file.encoding else []
    facts += [f"decimal mark {file.decimal_mark}"] if file.decimal_mark else []
    facts += [f"units {', '.join(file.units)}"] if file.units else []
    lines = [f"{file.layout}: {file.reason}", "; ".join(facts), *file.notes]
    more = f" and {_count(len(beside) - 3, 'other file')}" if len(beside) > 3 else ""
    lines += [f"read together with {', '.join(beside[:3])}{more}"] if beside else []
    lines += [f"unmapped: {', '.join(file.unmapped)}"] if file.unmapped else []
    lines += [f"finding: {message}" for message in file.errors]
    return lines + [f"would be set aside: {reason}" for reason in file.set_aside]


def _count(number: int, what: str) -> str:
    return f"{number} {what}" + ("" if number == 1 else "s")
