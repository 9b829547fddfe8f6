"""The filters that commands share."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

import click

from archive.errors import Trouble

if TYPE_CHECKING:
    from archive.store import Archive
    from archive.store.catalogue.filters import Filters

F = TypeVar("F", bound=Callable[..., Any])

_OPTIONS = {
    "link": ("--link", "L", "Identifier of the link."),
    "job": ("--job", "J", "Job."),
    "site": ("--site", "S", "Site."),
    "since": ("--since", "D", "Tested on this day or later (ISO 8601)."),
    "until": ("--until", "D", "Tested on this day or earlier (ISO 8601)."),
    "cable_type": ("--cable-type", "T", "Cable type, such as cat6a or cat6a/f-utp."),
    "limit": ("--limit", "L", "Limit, by id or in the words of the export."),
    "verdict": ("--verdict", "V", "pass, fail or not graded."),
    "serial": ("--serial", "N", "Serial number of a unit at either end."),
    "deposit": ("--deposit", "D", "Deposit."),
}


def filter_options(command: F) -> F:
    """Adds the filters. The command gets them as keywords; `chosen(keywords)` makes Filters of them."""
    for name, (option, metavar, text) in reversed(_OPTIONS.items()):
        command = click.option(option, name, metavar=metavar, help=text)(command)
    return command


def chosen(keywords: dict[str, Any]) -> Filters:
    """Filters from a command's keywords."""
    from archive.store.catalogue.filters import Filters

    return Filters(**{name: keywords[name] for name in _OPTIONS})


def only_option(command: F) -> F:
    """Adds --only. The command gets `only`; `pairs(only)` takes it apart."""
    return click.option(
        "--only", multiple=True, metavar="FIELD=VALUE", help="Only records with this value; more than once too."
    )(command)


def pairs(listed: tuple[str, ...]) -> list[tuple[str, str]]:
    """Fields and values of --only. Errors: Trouble."""
    found = []
    for text in listed:
        name, mark, value = text.partition("=")
        if not mark:
            raise Trouble("no field and value", code="option.not-field-value", found=repr(text), expected="FIELD=VALUE")
        found.append((name, value))
    return found


def as_of_options(command: F) -> F:
    """Adds --as-of and --known. The command gets as_of (a datetime or None) and known; `opened` opens by them."""
    command = click.option(
        "--known", is_flag=True, help="With --as-of: by what the ledger held on that day, not by what was tested."
    )(command)
    return click.option(
        "--as-of", "as_of", type=click.DateTime(["%Y-%m-%d"]), metavar="DAY", help="The state of that day."
    )(command)


def opened(path: Path, as_of: datetime | None, known: bool) -> Archive:
    """The archive now, or as it was. Errors: Trouble where there is none; usage where --known has no day."""
    from archive.store.past import open_as_of

    if known and as_of is None:
        raise Trouble("--known needs --as-of DAY", code="option.needs-another")
    return open_as_of(path, as_of.date() if as_of else None, known=known)


def role_option(text: str) -> Callable[[F], F]:
    """Adds --role, told in this text. The command gets role: accepted or current."""
    return click.option(
        "--role", type=click.Choice(["accepted", "current"]), default="current", show_default=True, help=text
    )


def table_options(command: F) -> F:
    """Adds --as and --out. The command gets form (csv, parquet, json or None) and out; `table_file` checks them."""
    command = click.option(
        "-o", "--out", type=click.Path(path_type=Path, dir_okay=False), help="With --as: a file for the table."
    )(command)
    return click.option(
        "--as",
        "form",
        type=click.Choice(["csv", "parquet", "json"]),
        help="The rows as a table. In a CSV, what a spreadsheet would take for a formula has an apostrophe before it.",
    )(command)


def table_file(form: str | None, out: Path | None) -> None:
    """A file for the table needs its form. Errors: Trouble."""
    if out and not form:
        raise Trouble("--out needs --as csv, parquet or json", code="option.needs-another")
