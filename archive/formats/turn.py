"""The bounds of one file while it is looked at or read: passing them costs that file alone."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from pathlib import Path
from typing import TypeVar

from archive.bounds import FileBounds
from archive.errors import Trouble
from archive.formats.recognition import Entry
from archive.isolation import ProgramFault

Made = TypeVar("Made")

BUG = "program.bug"
"""Code of the trouble of a file that a bug keeps from being read."""


class Turn:
    """The turn of one file. takes: files that are read with it."""

    def __init__(self, entry: Entry, takes: Iterable[Path] = ()) -> None:
        self._entry = entry
        size = sum(path.stat().st_size for path in {entry.path, *takes} if path.is_file())
        self._bounds = FileBounds(entry.name, size)

    def work(self, work: Callable[[], Made]) -> Made:
        """What the work makes. Errors: Trouble of the work, or where it takes too much time or memory, or is nested too
        deep."""
        try:
            return self._bounds.run(work)
        except RecursionError:
            raise Trouble(
                "is nested deeper than any export",
                code="file.nested-too-deep",
                where=self._entry.name,
                found="brackets or elements within each other by the hundred",
                remedy="look at the file; it may be damaged",
            ) from None
        except MemoryError:
            raise Trouble(
                "there is not enough memory to read it",
                code="file.no-memory",
                where=self._entry.name,
                found=f"a file of {self._entry.size:,} bytes",
                remedy="hand it in alone, or on a machine with more memory",
            ) from None


def bug(entry: Entry, fault: ProgramFault, records: int = 0) -> Trouble:
    """A file that a bug keeps from being read, or from being read beyond some records."""
    end = " to its end" if records else ""
    return Trouble(
        f"could not be read{end}: a fault of this program",
        code="program.bug",
        where=entry.name,
        found=f"{fault.what}, after {records} records" if records else fault.what,
        remedy="nothing is wrong with the file by this; report it, and read the file again with a later version",
    )
