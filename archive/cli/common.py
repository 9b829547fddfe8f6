"""What all commands share: options, the one JSON document, messages, progress."""

from __future__ import annotations

import json
import shutil
import sys
import warnings
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Any, TextIO, TypeVar

import click

from archive.cli.plain import one_line
from archive.errors import Caveat, MachineNotice, Remark

F = TypeVar("F", bound=Callable[..., Any])


class ArchivePlace(click.Path):
    """Where an archive lies, as a person gives it: a path, or an address on an object store."""

    def __init__(self) -> None:
        super().__init__(path_type=Path)

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> Any:
        """The Path, or the StorePath."""
        from archive.objects import place

        found = place(value)
        return found if "://" in str(found) else super().convert(value, param, ctx)


ARCHIVE = ArchivePlace()


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


_caveats: list[str] = []
"""Caveats of the command that runs."""


@contextmanager
def caveats() -> Iterator[list[str]]:
    """Prints each Caveat and MachineNotice raised meanwhile on standard error; gives the caveats but Remarks."""
    _caveats.clear()
    grave: list[str] = []
    with warnings.catch_warnings():
        for kind in (Caveat, MachineNotice):
            warnings.simplefilter("always", kind)
        show = warnings.showwarning

        def shown(
            message: Warning | str,
            category: type[Warning],
            filename: str,
            lineno: int,
            file: TextIO | None = None,
            line: str | None = None,
        ) -> None:
            if issubclass(category, MachineNotice):
                print_line(f"to know: {message}", err=True)
            elif not issubclass(category, Caveat):
                show(message, category, filename, lineno, file, line)
            elif str(message) not in _caveats:
                _caveats.append(str(message))
                grave.extend([] if issubclass(category, Remark) else [str(message)])
                print_line(f"to know: {message}", err=True)

        warnings.showwarning = shown
        yield grave


def print_json(document: object) -> None:
    """The one machine-readable document, on standard output."""
    if _caveats and isinstance(document, dict):
        document = {**document, "caveats": _caveats}
    click.echo(json.dumps(document, ensure_ascii=False, indent=2, default=_plain))


_LONGEST = 2000
"""Letters of the longest line that a person is shown."""
_WHOLE = 200
"""Letters of the longest word, such as a path, that is never cut in two: the terminal does it, and it can be copied."""


def print_line(text: str, *, err: bool = False) -> None:
    """A statement to a person: folded to the page, the lines after the first set in by four more than it. What foreign
    text in it would break or obey is shown as an escape. What is longer than anybody reads is cut, and says so."""
    import textwrap

    shown = _cut(one_line(text))
    width = _width(sys.stderr if err else sys.stdout)
    if len(shown) > width:
        begin = shown[: len(shown) - len(shown.lstrip())]
        shown = "\n".join(
            textwrap.wrap(
                shown.lstrip(),
                width,
                initial_indent=begin,
                subsequent_indent=f"{begin}    ",
                break_on_hyphens=False,
                break_long_words=any(len(word) > _WHOLE for word in shown.split()),
            )
        )
    click.echo(shown, err=err)


def print_text(text: str) -> None:
    """Lines of ours, each as print_line gives it."""
    for line in text.splitlines():
        print_line(line)


def print_next(*words: object, then: str = "") -> None:
    """What to do next, in one line that is never folded, so that its command can be copied. words: those of the
    command, quoted for a shell where they need it; then: what it is for."""
    import shlex

    print_next_text(f"muniment {shlex.join(map(str, words))}{f' {then}' if then else ''}")


def print_next_text(text: str) -> None:
    """As print_next, of a sentence."""
    click.echo(_cut(one_line(f"next: {text}")))


def _cut(line: str) -> str:
    if len(line) <= _LONGEST:
        return line
    more = len(line) - _LONGEST + 60
    return f"{line[: _LONGEST - 60]} ... and {more:,} letters more; --json has all"


def page_width() -> int:
    """Letters in a line: as many as the terminal has, 80 where the output is none, and never fewer than 40."""
    return _width(sys.stdout)


def _width(stream: Any) -> int:
    if not stream.isatty():
        return 80
    return max(40, min(shutil.get_terminal_size().columns, 160))


def say(text: str, *, quiet: bool = False) -> None:
    """A message to a person, on standard error, folded as print_line does."""
    if not quiet:
        print_line(text, err=True)


def progress(
    items: Iterable[Any], label: str, length: int | None = None, *, quiet: bool = False, inputs: Sequence[Any] = ()
) -> Iterable[Any]:
    """Passes items through; tells on standard error how far it is, where that is a terminal or --progress asks for it.

    length: of the items, where it is known; inputs: what they are read from."""
    if quiet or not (sys.stderr.isatty() or _asked()):
        yield from items
        return
    from archive.cli.bar import Bar

    bar = Bar(label, length, inputs, _width(sys.stderr) - 1, items)
    try:
        for item in items:
            bar.step(item)
            yield item
    finally:
        bar.end()


def _asked() -> bool:
    """Whether --progress was given."""
    context = click.get_current_context(silent=True)
    return bool(context is not None and context.meta.get(_PROGRESS))


_PROGRESS = "muniment.progress"


def progress_option(command: F) -> F:
    """Adds --progress, for commands that take long. `progress` heeds it."""

    def keep(context: click.Context, _: click.Parameter, value: bool) -> None:
        context.meta[_PROGRESS] = value

    return click.option(
        "--progress",
        is_flag=True,
        expose_value=False,
        callback=keep,
        help="Tell how far it is, also where standard error is no terminal.",
    )(command)


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
