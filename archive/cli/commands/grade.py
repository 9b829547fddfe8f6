"""muniment grade: a second opinion on records, from their curves."""

from __future__ import annotations

import json
from collections import Counter
from collections.abc import Iterator
from typing import Any

import click

from archive.cli.common import done, output_options, print_line, progress, progress_option, say
from archive.errors import Trouble


@click.command("grade")
@click.argument("inputs", nargs=-1, required=True, metavar="INPUT...")
@click.option("--against", multiple=True, metavar="LIMIT", help="Grade against this limit, not the one a record names.")
@click.option(
    "--application", multiple=True, metavar="APP", help="Would the link carry this: 10gbase-t, poe-type-3 ..."
)
@click.option("--own", multiple=True, metavar="LIMIT.toml", help="A limit of your own, to be named by its id.")
@click.option(
    "--accuracy",
    metavar="FILE.toml",
    help="Accuracy of the instrument: marginal results, decision rule, probability of a false accept.",
)
@click.option(
    "--cords",
    type=click.FloatRange(0, 1000),
    metavar="METRES",
    help="Cords at both ends together, added where a permanent link is graded for a channel or link segment "
    "(default: the standard's allowance).",
)
@click.option(
    "--mapping", multiple=True, metavar="MAPPING.toml", help="Read by it the files it fits; may be given several times."
)
@click.option("--detail", is_flag=True, help="Every parameter of every record (always so for a single record).")
@progress_option
@output_options
def command(
    inputs: tuple[str, ...],
    against: tuple[str, ...],
    application: tuple[str, ...],
    own: tuple[str, ...],
    accuracy: str | None,
    cords: float | None,
    mapping: tuple[str, ...],
    detail: bool,
    as_json: bool,
    quiet: bool,
) -> None:
    """Grades records again from their curves: worst margins, verdict, and whether that agrees with the instrument.

    Without --against, each record is graded against the limit that it names.

    \b
    Exit code 1: any fail, any disagreement with the instrument, anything not graded or set aside.

    \b
    Example:
      muniment grade week2.zip
      muniment grade link-117.xml --against tia-568.2-d/cat6a/channel --application 10gbase-t
    """
    from archive import formats, grading, limits
    from archive.grading.document import documents
    from archive.grading.resolve_limit import asked_for, user_limits_by_id
    from archive.grading.wording import VerdictCount
    from archive.limits import fiber as optical

    user_limits = [optical.load_own(p) if optical.is_optical(p) else limits.load_own(p) for p in own]
    asked_for(against, application, *user_limits_by_id(user_limits))  # a wrong id is reported before anything is read
    known = grading.load_accuracy(accuracy) if accuracy else None
    beside = [*own, *([accuracy] if accuracy else [])]
    count = VerdictCount()
    reading = formats.read_all(inputs, mapping=mapping, leave_out=beside)

    def graded() -> Iterator[dict[str, Any]]:
        for batch in progress(reading, "grading", quiet=quiet, inputs=inputs):
            for row in batch["set_aside"].to_pylist():
                count.set_aside += 1
                place = ", ".join(x for x in (row["path"], row["place"]) if x)
                say(f"set aside: {place}: {row['reason']}", quiet=quiet)
            if len(batch):
                yield from documents(grading.grade(batch, against or None, application, user_limits, known, cords))

    _print_json(graded(), count) if as_json else _print(graded(), count, detail, quiet)
    if not sum(count.verdicts.values()) and not count.set_aside:
        raise Trouble(
            "there is no record to grade",
            code="input.no-record",
            where=", ".join(inputs),
            remedy="See `muniment survey`.",
        )
    say(str(count), quiet=quiet)
    done(count.anything_to_look_at)


def _print_json(found: Iterator[dict[str, Any]], count: Any) -> None:
    """One document, written record by record, so that memory does not grow with the job."""
    first = next(found, None)
    click.echo('{"records": [', nl=False)
    for number, document in enumerate(_all(first, found)):
        count.add(document)
        click.echo((",\n" if number else "\n") + json.dumps(document, ensure_ascii=False), nl=False)
    click.echo(f'\n], "set_aside": {count.set_aside}}}')


def _print(found: Iterator[dict[str, Any]], count: Any, detail: bool, quiet: bool) -> None:
    """In words: a single record with all its parameters; of many, a pass that nothing qualifies in one line."""
    from archive.grading.wording import brief, in_common, lines, plain_pass

    first, second = next(found, None), next(found, None)
    in_short: Counter[str] = Counter()
    for document in _all(first, _all(second, found)):
        count.add(document)
        if not detail and second is not None and plain_pass(document):
            if not quiet:
                print_line(brief(document))
                in_short[in_common(document)] += 1
        elif not quiet or document["verdict"] != "pass" or document["agrees"] is False:
            for line in lines(document, detail or second is None):
                print_line(line)
    for said, links in in_short.items():
        print_line(f"in short above: {links} pass {said}. --detail shows each")


def _all(first: dict[str, Any] | None, rest: Iterator[dict[str, Any]]) -> Iterator[dict[str, Any]]:
    if first is not None:
        yield first
    yield from rest
