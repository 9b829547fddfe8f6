"""What all commands share: options, the one JSON document, messages, progress."""

from __future__ import annotations

import json
import sys
from collections.abc import Callable, Iterable
from typing import Any, TypeVar

import click

from archive.cli.plain import one_line

F = TypeVar("F", bound=Callable[..., Any])


def output_options(command: F) -> F:
    """Adds --json and -q. The command gets as_json and quiet."""
    command = click.option("--json", "as_json", is_flag=True, help="Print one JSON document on standard output.")(
        command
    )
    return click.option("-q", "--quiet", is_flag=True, help="Print nothing but what was asked for.")(command)


def signer_options(command: F) -> F:
    """Adds --by and --reason, for commands that change an archive. The command gets by and reason."""
    command = click.option(
        "--by", metavar="NAME", help="Who does this (default: the name set once with `muniment me NAME`)."
    )(command)
    return click.option("--reason", metavar="TEXT", help="Why.")(command)


def print_json(document: object) -> None:
    """The one machine-readable document, on standard output."""
    click.echo(json.dumps(document, ensure_ascii=False, indent=2, default=_plain))


def print_line(text: str) -> None:
    """One line on standard output: what foreign text in it would break or obey is shown as an escape."""
    click.echo(one_line(text))


def say(text: str, *, quiet: bool = False) -> None:
    """A message of one line to a person, on standard error."""
    if not quiet:
        click.echo(one_line(text), err=True)


def progress(items: Iterable[Any], label: str, length: int | None = None, *, quiet: bool = False) -> Iterable[Any]:
    """Passes items through; draws a bar on standard error where that is a terminal."""
    if quiet or not sys.stderr.isatty():
        yield from items
        return
    with click.progressbar(items, label=label, length=length, file=sys.stderr) as bar:
        yield from bar


def done(anything_to_look_at: bool) -> None:
    """Ends a command: exit code 1 where there is something to look at, else 0."""
    click.get_current_context().exit(1 if anything_to_look_at else 0)


def _plain(value: Any) -> Any:
    """JSON for the values that tables hold: numpy scalars, times, paths."""
    if hasattr(value, "item"):
        return value.item()
    if hasattr(value, "isoformat"):
        return value.isoformat().replace("+00:00", "Z")
    return str(value)
