"""Bugs of this program, caught where they strike, so that one record or one file pays for them and no other."""

from __future__ import annotations

import os
import traceback
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TypeVar

from archive.errors import Trouble

Item = TypeVar("Item")
Made = TypeVar("Made")

GENERAL = 8
"""Single things that fail before the rest is given up untried: such a bug strikes everywhere."""
NOT_GRADED = "fault of this program in "
"""Begins the reason of a verdict "not graded" where grading failed; the stage and the bug follow."""


@dataclass(frozen=True)
class ProgramFault:
    """A bug of this program. where: the rule or stage; what: kind and text of the exception, and its place in the
    code; traceback: for the report to its authors."""

    where: str
    what: str
    traceback: str = ""


def attempt(work: Callable[[], Made], where: str) -> Made | ProgramFault:
    """What the work makes, or the bug that stopped it.

    Trouble and a failing disk are no bugs, and are raised as they are.
    """
    try:
        return work()
    except (Trouble, OSError):
        raise
    except Exception as error:  # noqa: BLE001 - whatever else goes wrong is a bug, and must not cost the others
        return caught(error, where)


def caught(error: Exception, where: str) -> ProgramFault:
    """A bug as it was caught. With MUNIMENT_TRACEBACK in the environment it is raised: whoever looks for a bug, as
    every test does, sees it at once."""
    if os.environ.get("MUNIMENT_TRACEBACK"):
        raise error
    return ProgramFault(where, in_one_line(error), "".join(traceback.format_exception(error)))


def in_one_line(error: Exception) -> str:
    """Kind and text of an exception, and the innermost place of our own code."""
    frames = traceback.extract_tb(error.__traceback__)
    places = [f for f in frames if f"{os.sep}archive{os.sep}" in f.filename and f.filename != __file__]
    where = f" in {Path(*Path(places[-1].filename).parts[-3:]).as_posix()}, line {places[-1].lineno}" if places else ""
    return f"{type(error).__name__}: {' '.join(str(error)[:200].split())}{where}"


def isolated(
    items: Sequence[Item], work: Callable[[Sequence[Item]], Made], where: str
) -> Iterator[tuple[Sequence[Item], Made | ProgramFault]]:
    """Work on many things at once; where it fails, on each half of them, down to the single thing that stops it.

    Yields parts of the items in their order, each with what was made of it or with the bug. After GENERAL single
    failures a part that fails is not divided any more.
    """
    waiting, failed = [items], 0
    while waiting:
        part = waiting.pop()
        made = attempt(lambda part=part: work(part), where)  # type: ignore[misc]
        if isinstance(made, ProgramFault) and len(part) > 1 and failed < GENERAL:
            half = len(part) // 2
            waiting += [part[half:], part[:half]]
            continue
        failed += isinstance(made, ProgramFault)
        yield part, made
