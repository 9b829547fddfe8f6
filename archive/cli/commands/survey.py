"""muniment survey: what is in these files, folders and zips. Nothing is written."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterable
from pathlib import Path
from typing import Any

import click

from archive.cli.common import done, output_options, print_json, print_line, progress, progress_option
from archive.cli.plain import exact_output
from archive.errors import Trouble
from archive.vocabulary.counted import counted
from archive.vocabulary.ranges import ranges

_NAMED = 12
"""Files, and names without a place, of one kind that are named."""
_COUNT = re.compile(r" \((\d+)\)$")
"""How often a name without a place stands in a file, behind it."""


@click.command("survey")
@click.argument("inputs", nargs=-1, metavar="INPUT...")
@click.option(
    "--mapping", multiple=True, metavar="MAPPING.toml", help="Read by it the files it fits; may be given several times."
)
@click.option(
    "--schedule", type=click.Path(path_type=Path), metavar="LINKS.csv", help="Tell how this list of links is read, too."
)
@click.option("--schedule-columns", metavar="COLUMN=HEADING,...", help="Which heading of the schedule means what.")
@click.option("--draft", is_flag=True, help="Print nothing but the drafted map or mapping of the one file.")
@progress_option
@output_options
def command(
    inputs: tuple[str, ...],
    mapping: tuple[str, ...],
    schedule: Path | None,
    schedule_columns: str | None,
    draft: bool,
    as_json: bool,
    quiet: bool,
) -> None:
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
    from archive.cli import checking
    from archive.formats.survey import survey

    if not inputs and schedule is None:
        raise Trouble("nothing to survey", code="option.nothing-given", expected="files, folders, zips or a --schedule")
    named = checking.columns_for(schedule_columns, schedule)
    listed = None if schedule is None else _schedule(schedule, named)

    def watch(items: list[Any], stage: str) -> Iterable[Any]:
        return progress(items, stage, len(items), quiet=quiet)

    beside = () if schedule is None else (schedule,)
    files = list(survey(inputs, mapping=mapping, watch=watch, leave_out=beside)) if inputs else []
    if draft:
        click.echo(_only_draft(files), file=exact_output(), nl=False)
        return
    if as_json:
        print_json({"files": [_document(f) for f in files], **({} if listed is None else {"schedule": listed})})
    elif not quiet:
        if listed is not None:
            _print_schedule(listed)
        if inputs:
            _print(files)
    done(any(f.unread or f.set_aside or f.errors for f in files))


def _schedule(path: Path, named: dict[str, str] | None) -> dict[str, Any]:
    """How a list of links is read. Errors: Trouble where it cannot be."""
    from archive.formats import schedule

    made = schedule.read(path, named)
    labels = [r["link_label"] for r in made["schedule"].to_pylist()]
    told = [f"{r['rule'].replace('-', ' ')}: {r['found']}, {r['where']}" for r in made["findings"].to_pylist()]
    columns = schedule.columns_read(path, named)
    return {"path": str(path), "links": len(labels), "labels": labels, "columns": columns, "findings": told}


def _print_schedule(listed: dict[str, Any]) -> None:
    print_line(listed["path"])
    print_line(f"  a schedule: {counted(listed['links'], 'link')} to be built: {_some(ranges(listed['labels']))}")
    if listed["columns"]:
        said = (f"{column.replace('_', ' ')} from {heading!r}" for column, heading in listed["columns"].items())
        print_line(f"  read: {', '.join(said)}")
    for line in listed["findings"][:_NAMED]:
        print_line(f"  {line}")
    if len(listed["findings"]) > _NAMED:
        print_line(f"  and {len(listed['findings']) - _NAMED} more; --json has all")


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
        "passed_over": file.passed_over,
        "draft": file.draft or None,
    }


def _print(files: list[Any]) -> None:
    drafts = [f for f in files if f.draft]
    beside: dict[str, list[str]] = {}
    for file in files:
        if file.read_with:
            beside.setdefault(file.read_with, []).append(file.path)
    alike: dict[Any, list[Any]] = {}
    for file in files:
        if not file.read_with:
            alike.setdefault(_kind(file, beside), []).append(file)
    for group in alike.values():
        names = ranges(f.path for f in group)
        print_line(f"{len(group)} files: {_some(names)}" if len(group) > 1 else names[0])
        for line in _lines(group, beside.get(group[0].path, [])):
            print_line(f"  {line}")
    if len(drafts) == len(files) == 1:
        click.echo("".join(f"    {line}\n" for line in drafts[0].draft.splitlines()), nl=False)
    elif drafts:
        lack = "1 file lacks" if len(drafts) == 1 else f"{len(drafts)} files lack"
        print_line(f"{lack} a map or mapping; `muniment survey FILE --draft` prints a draft for one file")
    counts = [_count(len(files), "file"), _count(sum(f.records for f in files), "record")]
    passed = sum(f.passed_over for f in files)
    counts += [f"{sum(f.unread for f in files)} not read", *([f"{passed} passed over"] if passed else [])]
    print_line(", ".join(counts))


def _kind(file: Any, beside: dict[str, list[str]]) -> Any:
    """Files of one kind say the same but for their names and counts."""
    if file.path in beside:
        return file.path
    names = tuple(_COUNT.sub("", x) for x in file.unmapped[: _NAMED + 1])
    lists = (file.units, file.notes, file.errors, file.set_aside)
    facts = (file.layout, file.draft, file.reason, file.unread, file.evidence, file.encoding, file.decimal_mark)
    return (*facts, names, *map(tuple, lists))


def _some(names: list[str]) -> str:
    """The first of some names, and how many more there are."""
    more = f" and {len(names) - _NAMED:,} more" if len(names) > _NAMED else ""
    return ", ".join(names[:_NAMED]) + more


def _unmapped(group: list[Any]) -> list[str]:
    """Names that no place takes, with the number of cells over all files of a kind."""
    cells: Counter[str] = Counter()
    for file in group:
        for name in file.unmapped:
            counted = _COUNT.search(name)
            cells[_COUNT.sub("", name)] += int(counted[1]) if counted else 1
    return [name + (f" ({n:,})" if n > 1 else "") for name, n in cells.items()]


def _lines(group: list[Any], beside: list[str]) -> list[str]:
    """The lines for files of one kind, below their paths. beside: files that are read together with the one."""
    file = group[0]
    if file.passed_over:
        return [f"passed over: {file.reason}"]
    if file.unread:
        what = f"{file.layout}, but not read" if file.layout else "not recognised"
        return [f"{what}: {'; '.join(file.set_aside) or file.reason}"]
    facts = [_count(sum(f.records for f in group), "record")]
    facts += [f"evidence {file.evidence}"] if file.evidence else []
    facts += [f"encoding {file.encoding}"] if file.encoding else []
    facts += [f"decimal mark {file.decimal_mark}"] if file.decimal_mark else []
    facts += [f"units {', '.join(file.units)}"] if file.units else []
    lines = [f"{file.layout}: {file.reason}", "; ".join(facts), *file.notes]
    more = f" and {_count(len(beside) - 3, 'other file')}" if len(beside) > 3 else ""
    lines += [f"read together with {', '.join(beside[:3])}{more}"] if beside else []
    lines += [f"unmapped: {_some(_unmapped(group))}"] if file.unmapped else []
    lines += [f"finding: {message}" for message in file.errors]
    return lines + [f"would be set aside: {reason}" for reason in file.set_aside]


def _count(number: int, what: str) -> str:
    return f"{number} {what}" + ("" if number == 1 else "s")
