"""What is in files, folders and zips; nothing is written."""

from __future__ import annotations

import tempfile
from collections.abc import Callable, Iterable, Iterator, Sequence
from functools import partial
from pathlib import Path
from typing import Any

from archive.errors import Trouble
from archive.formats.containers import is_dropping
from archive.formats.description import Description
from archive.formats.mapping.offered import Offered
from archive.formats.reading import ReadingTask, _taken, tasks
from archive.formats.turn import Turn, bug
from archive.isolation import ProgramFault, attempt


def survey(
    paths: Sequence[Any],
    *,
    mapping: Any = None,
    leave_out: Iterable[Any] = (),
    watch: Callable[[list[Any], str], Iterable[Any]] | None = None,
) -> Iterator[Description]:
    """A description of every file, in the order of the inputs; one that nobody can read has its reason.

    leave_out: files that are passed over. watch: passes the files through, with what is done to them.

    Errors: Trouble where an input is not there, or is a zip that is refused.
    """
    with tempfile.TemporaryDirectory(prefix="muniment-") as folder:
        offered = Offered.of(mapping)
        seen = watch or (lambda items, _: items)
        inputs = [Path(p) for p in paths]
        listed = tasks(
            inputs, Path(folder), [*offered.paths, *leave_out], offered, lambda units: seen(units, "recognising")
        )
        by = _taken(listed)
        for task in seen(listed, "looking into"):
            if task.entry.path in by:
                with_it = by[task.entry.path]
                layout = with_it.found.layout if with_it.found else ""
                reason = f"read with {with_it.entry.name}"
                yield Description(task.entry.name, layout, reason, read_with=with_it.entry.name)
            else:
                yield _describe(task)


def _describe(task: ReadingTask) -> Description:
    """One file, by its reader's own words where it has some."""
    if is_dropping(task.entry.name):
        return Description(task.entry.name, reason="a program put it there, not a person", passed_over=True)
    if task.reader is None or task.found is None:
        return Description(task.entry.name, reason=_reason(task), unread=True)
    own = getattr(task.reader, "describe", None)
    describe: Callable[[], Description]
    describe = partial(own, task.entry, mapping=task.mapping) if own else partial(_counted, task)
    try:
        out = attempt(partial(Turn(task.entry, task.found.takes).work, describe), "describing")
        if isinstance(out, ProgramFault):
            raise bug(task.entry, out)
    except Trouble as trouble:
        out = Description(task.entry.name, set_aside=[str(trouble).removeprefix(f"{task.entry.name}: ")], unread=True)
    out.layout = out.layout or task.found.layout
    out.reason = out.reason or task.found.reason
    return out


def _reason(task: ReadingTask) -> str:
    """Why nobody can read a file and what to do, without the advice to look at it with this very command."""
    trouble = task.trouble
    if trouble is None:
        return "no reader knows this layout"
    said = f"{trouble.message}; found {trouble.found}" if trouble.found else trouble.message
    advice = trouble.remedy if "muniment survey" not in trouble.remedy else ""
    return f"{said}. {advice[:1].upper()}{advice[1:]}" if advice else said


def _counted(task: ReadingTask) -> Description:
    """The description of a file whose reader has no words of its own: read, and counted."""
    assert task.reader is not None
    out = Description(task.entry.name)
    out.count(task.reader.read(task.entry, mapping=task.mapping, draft=True), task.entry.sha256)
    return out
