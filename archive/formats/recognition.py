"""What a reader is handed, and what it says about it."""

from __future__ import annotations

import hashlib
from collections.abc import Iterator
from dataclasses import dataclass, field
from functools import cached_property
from pathlib import Path
from typing import Any, Protocol

from archive.tables import Batch

HEAD = 65536
"""Bytes of a file that a reader should need to recognise it."""


@dataclass(frozen=True)
class Recognition:
    """How sure a reader is that a file is its own: score 0 to 1, why in words, name of the layout.

    takes: paths (as Entry.path) of other files that it reads together with this one, such as the tables that a
    metadata file describes or the port map beside a network-analyser file. mapping: the one by which it was recognised,
    so that it is not looked for again.
    """

    score: float
    reason: str
    layout: str
    takes: frozenset[Path] = field(default=frozenset())
    mapping: Any = field(default=None, compare=False, repr=False)


@dataclass(frozen=True)
class Entry:
    """One file: where it is on disk, and its path inside what was handed in, with / between folders.

    A file out of a zip stands unpacked in a temporary folder, its neighbours beside it.
    """

    path: Path
    name: str

    @cached_property
    def head(self) -> bytes:
        """The first HEAD bytes."""
        with self.path.open("rb") as file:
            return file.read(HEAD)

    @cached_property
    def size(self) -> int:
        """Bytes."""
        return self.path.stat().st_size

    @cached_property
    def suffix(self) -> str:
        """Ending of its name in small letters, with its dot."""
        return Path(self.name).suffix.lower()

    @cached_property
    def sha256(self) -> str:
        """SHA-256 of its bytes, hexadecimal: the source_id of what is read from it."""
        with self.path.open("rb") as file:
            return hashlib.file_digest(file, "sha256").hexdigest()

    def source(self, **more: Any) -> dict[str, Any]:
        """Its row of `sources`; more: layout, reader, encoding, cells_read ..."""
        return {"source_id": self.sha256, "path": self.name, "bytes": self.size, **more}

    def set_aside(self, reason: str, **more: Any) -> dict[str, Any]:
        """A row of `set_aside` for it; more: place, link_label, found, expected, remedy, text."""
        return {"source_id": self.sha256, "path": self.name, "reason": reason, **more}


class Reader(Protocol):
    """A module that reads one layout or one family of layouts, with these hooks.

    A third one may be there: `describe(entry, *, mapping=None) -> formats.description.Description`, for `muniment
    survey`; without it the file is read and its batches are counted.
    """

    def recognise(self, entry: Entry) -> Recognition | None:
        """Whether the file is its own, from the head and the name; None where it is not. Never raises for bad input."""

    def read(self, entry: Entry, *, mapping: Any = None, draft: bool = True) -> Iterator[Batch]:
        """Batches of the file. A record that cannot be read becomes a row of set_aside.

        Errors: Trouble where nothing of the file can be read. Rows of `sources` account for its cells.
        """
