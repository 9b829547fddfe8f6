"""Options of commands that work over many bags."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING, Any, TypeVar

import click

from archive.cli.common import progress
from archive.errors import Trouble

if TYPE_CHECKING:
    from archive.spread import Workforce

F = TypeVar("F", bound=Callable[..., Any])


def spread_options(command: F) -> F:
    """Adds --workers and --scheduler, which archive.spread.spread takes."""
    command = click.option(
        "--scheduler", metavar="ADDRESS", help="A Dask scheduler, such as tcp://127.0.0.1:8786, whose workers do it."
    )(command)
    return click.option(
        "--workers",
        type=click.IntRange(1),
        default=1,
        show_default=True,
        metavar="N",
        help="Processes of this machine. An interrupted run goes on where it was.",
    )(command)


def workforce(workers: int, scheduler: str | None, label: str, *, quiet: bool) -> Workforce:
    """Who does the work by these options, with a bar. Errors: Trouble where both are given."""
    from archive.spread import Workforce, spread

    if scheduler is not None and workers > 1:
        raise Trouble(
            "a scheduler has workers of its own",
            code="option.two-spreads",
            found=f"--workers {workers} --scheduler {scheduler}",
            expected="one of the two",
            remedy="leave `--workers` out",
        )
    return Workforce(spread(workers, scheduler), lambda things: progress(things, label, len(things), quiet=quiet))
