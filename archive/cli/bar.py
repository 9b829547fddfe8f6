"""How far a command is, on standard error: stage, count, file, rate and time left.

One line of a terminal that is drawn again; where --progress asks for it elsewhere, lines below each other.
"""

from __future__ import annotations

import os
import sys
import time
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from archive.cli.plain import one_line
from archive.vocabulary.counted import counted

AFTER = 1.0
"""Seconds before anything is drawn: what is done sooner needs no bar."""
_EVERY = {True: 0.2, False: 5.0}
"""Seconds between two drawings, on a terminal and elsewhere."""
_SETTLED = 0.02
"""Share of the whole that must be done before the time left is guessed."""


class Bar:
    """label: the stage; total: number of the items, where it is known; inputs: files and folders that they are read
    from, by whose bytes the time left is guessed; width: letters of a line; reading: what has its files in a list
    `files` as they are read, if anything has."""

    def __init__(self, label: str, total: int | None, inputs: Sequence[Any], width: int, reading: Any = None) -> None:
        self._reading, self._told = reading, 0
        self._label, self._total, self._width = label, total, width
        self._terminal = sys.stderr.isatty()
        self._sizes = _sizes(inputs)
        self._whole = sum(self._sizes.values())
        self._seen: dict[str, None] = {}
        self._bytes = self._items = self._records = 0
        self._began = time.monotonic()
        self._drawn = self._began + AFTER - _EVERY[self._terminal]
        self._shown = False

    def step(self, item: Any) -> None:
        """Takes note of one more item: a batch of records, a file, or anything that is counted."""
        self._items += 1
        self._records += len(item) if _is_batch(item) else 0
        told = getattr(self._reading, "files", None)
        for name in _names(item) if told is None else [f.path for f in told[self._told :]]:
            top = next((p for p in _begins(name) if p in self._sizes), None)
            if name not in self._seen:
                self._seen[name] = None
            if top is not None:
                self._bytes += self._sizes.pop(top)
        self._told = len(told) if told is not None else 0
        now = time.monotonic()
        if now - self._drawn >= _EVERY[self._terminal]:
            self._drawn = now
            self._draw(self.line(now - self._began))

    def line(self, seconds: float) -> str:
        """What is drawn after so many seconds."""
        done = self._items if not self._seen else len(self._seen)
        what = "file" if self._seen else "step"
        parts = [f"{done:,} of {counted(self._total, what)}" if self._total else counted(done, what)]
        parts += [counted(self._records, "record")] if self._records else []
        parts += [f"{max(done, self._records) / seconds:,.0f} a second"] if seconds > 0 else []
        share = done / self._total if self._total else self._bytes / self._whole if self._whole else 0.0
        if _SETTLED <= share <= 1 and seconds > 0:
            left = round(seconds * (1 - share) / share)
            parts.append(f"about {left // 60}:{left % 60:02d} left")
        said = f"{self._label}: {', '.join(parts)}"
        name = next(reversed(self._seen), "")
        room = self._width - len(said) - 2
        if name and room > 12:
            said += f", {name if len(name) < room else '...' + name[-(room - 4) :]}"
        return one_line(said[: self._width])

    def end(self) -> None:
        """Takes the line off a terminal."""
        if self._shown and self._terminal:
            sys.stderr.write("\r\x1b[K")
            sys.stderr.flush()

    def _draw(self, line: str) -> None:
        sys.stderr.write(f"\r\x1b[K{line}" if self._terminal else f"{line}\n")
        sys.stderr.flush()
        self._shown = True


def _is_batch(item: Any) -> bool:
    """By its name, so that what counts other things loads no tables."""
    return type(item).__name__ == "Batch"


def _names(item: Any) -> list[str]:
    """Files that an item is of."""
    if _is_batch(item):
        return [str(p) for p in item["sources"].column("path").to_pylist() if p]
    said = (getattr(getattr(item, "entry", None), "name", None), getattr(item, "name", None))
    return [x for x in said if isinstance(x, str)][:1]


def _begins(path: str) -> list[str]:
    """A path and the folders and containers above it."""
    parts = path.split("/")
    return ["/".join(parts[:n]) for n in range(len(parts), 0, -1)]


def _sizes(inputs: Sequence[Any]) -> dict[str, int]:
    """Bytes of each file by the name that messages give it. What cannot be looked at counts for nothing."""
    found: dict[str, int] = {}
    for given in map(Path, inputs):
        if not given.is_dir():
            found[given.name] = given.stat().st_size if given.is_file() else 0
            continue
        for folder, _, names in os.walk(given):
            for name in names:
                path = Path(folder) / name
                try:
                    found[path.relative_to(given).as_posix()] = path.lstat().st_size
                except OSError:
                    continue
    return found
