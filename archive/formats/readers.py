"""The readers: ours, and those that other packages register in the entry point group `muniment.readers`.

An entry point names a module (or any object) with the hooks of formats.recognition.Reader:

    [project.entry-points."muniment.readers"]
    my-tester = "my_package.my_tester"

The surest recognition wins; of equal ones the reader that is asked first: ours, then the others by name. A reader
whose LAST is true is asked only about a file that no other knows.
"""

from __future__ import annotations

from functools import cache
from importlib.metadata import EntryPoint, entry_points
from typing import Any, cast

from archive.errors import Trouble
from archive.formats.recognition import Reader

GROUP = "muniment.readers"
"""The entry point group."""

OPEN = {
    "link-record-xml": "archive.formats.open_xml",
    "link-record-csv": "archive.formats.open_csv",
    "link-record-parquet": "archive.formats.parquet",
}
"""Readers of our own forms: name and module."""

BY_FIRST_BYTES, SURE = ("optical-trace",), 0.95
"""Our readers of files that are no text, and the score of one that knows its file by the first bytes."""

OURS = {
    **OPEN,
    "touchstone": "archive.formats.touchstone",
    "optical-trace": "archive.formats.otdr",
    "mapping": "archive.formats.mapping",
    "link-list": "archive.formats.link_list",
    "mail": "archive.formats.mail",
    "unseen": "archive.formats.unseen",
}
"""Our readers, as pyproject.toml registers them. They are taken from here, so that a checkout that nobody installed,
or one beside an older installation, reads with its own."""


@cache
def names() -> tuple[str, ...]:
    """Names of all readers, in the order in which they are asked."""
    return (*OURS, *sorted(_others()))


@cache
def reader(name: str) -> Reader:
    """The reader of this name. Errors: Trouble where another package's cannot be loaded or lacks a hook."""
    if name in OURS:
        return cast(Reader, EntryPoint(name, OURS[name], GROUP).load())
    registered = _others()[name]
    try:
        loaded: Any = registered.load()
        lacking = [hook for hook in ("recognise", "read") if not callable(getattr(loaded, hook, None))]
        why = f"no {' and no '.join(lacking)} in it" if lacking else ""
    except (ImportError, AttributeError, SyntaxError) as error:
        why = f"{type(error).__name__}: {error}"
    if why:
        raise Trouble(
            "a reader that is registered cannot be used",
            code="reader.unusable",
            where=f"{name} ({registered.value})",
            found=why,
            remedy="update or uninstall the package that registers it",
        )
    return cast(Reader, loaded)


def _others() -> dict[str, EntryPoint]:
    """Readers that other packages register, by name; a name of ours stays ours."""
    return {found.name: found for found in entry_points(group=GROUP) if found.name not in OURS}
