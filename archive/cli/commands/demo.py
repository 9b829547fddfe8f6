"""muniment demo: an invented job, taken through the whole flow."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from archive.cli.common import output_options, print_json, say
from archive.cli.plain import one_line
from archive.errors import Trouble

WIDTH = 160
"""Characters of a command's output that are shown of one line."""


@click.command("demo")
@click.argument("folder", default=Path("muniment-demo"), type=click.Path(path_type=Path), metavar="[DIR]")
@output_options
def command(folder: Path, as_json: bool, quiet: bool) -> None:
    """Writes an invented job into DIR (muniment-demo), takes it through the whole flow into an archive, and ends by
    naming the claim file to open.

    The organisation, the building, the instruments and every curve are invented. Each step is shown with the command
    that a person would type for it, and shows what that command prints. DIR must be new, empty, or an untouched demo.

    \b
    Example:
      muniment demo
    """
    from archive.demo import exports, steps
    from archive.demo import folder as place

    place.prepare(folder)
    try:
        say(f"Writing an invented job into {folder}; {folder / 'README.txt'} says what was planted in it.", quiet=quiet)
        exports.write(folder)
        taken = [_taken(number, step, quiet) for number, step in enumerate(steps.steps(folder), 1)]
        place.sign(folder)
    except BaseException:
        place.clear(folder)
        raise
    page = steps.to_open(folder)
    say("", quiet=quiet)
    say("The claim file to open:", quiet=quiet)
    if as_json:
        print_json({"folder": str(folder), "steps": taken, "claim_file": str(page) if page else None})
    else:
        click.echo(page)


def _taken(number: int, step: Any, quiet: bool) -> dict[str, Any]:
    """Announces and takes one step. Errors: Trouble where it ends otherwise than it should."""
    from archive.demo import steps

    for said in ("", f"{number}. {step.title}"):
        say(said, quiet=quiet)
    if not quiet:
        click.echo(one_line(f"   $ muniment {_typed(step.argv)}"), err=True)  # never folded: it can be copied
    code, printed = _run(step.argv)
    for line in steps.shown(step, printed):
        say(f"   | {line}"[:WIDTH], quiet=quiet)
    if step.look:
        say(f"   {step.look}", quiet=quiet)
    if code not in step.expected:
        raise Trouble(
            "the demo went another way than it should",
            code="demo.unexpected",
            where=f"step {number}, muniment {step.argv[0]}",
            found=f"exit code {code}",
            expected=" or ".join(map(str, step.expected)),
            remedy="this is a bug in the program: please report it with the output above",
        )
    return {"command": ["muniment", *step.argv], "exit_code": code}


def _run(argv: tuple[str, ...]) -> tuple[int, str]:
    """Exit code and what one command prints, run in this process as if it had been typed."""
    import contextlib
    import io

    from archive.cli import cli

    out = io.StringIO()
    with contextlib.redirect_stdout(out), contextlib.redirect_stderr(out):
        code: Any = cli.main(list(argv), prog_name="muniment", standalone_mode=False)
    return code if isinstance(code, int) else 0, out.getvalue()


def _typed(argv: tuple[str, ...]) -> str:
    import shlex

    return shlex.join(argv)
