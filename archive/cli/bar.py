"""How far a command is, on standard error: stage, count, file, rate and time left.

One line of a terminal that is drawn again; where --progress asks for it elsewhere, lines below each other.
"""

from __future__ import annotations

import sys
import time
from collections.abc import Sequence
from typing import Any

from archive.answers.pace import ReadingPace
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
        self._pace = ReadingPace(inputs, reading)
        self._label, self._total, self._width = label, total, width
        self._terminal = sys.stderr.isatty()
        self._began = time.monotonic()
        self._drawn = self._began + AFTER - _EVERY[self._terminal]
        self._shown = False

    def step(self, item: Any) -> None:
        """Takes note of one more item: a batch of records, a file, or anything that is counted."""
        self._pace.step(item)
        now = time.monotonic()
        if now - self._drawn >= _EVERY[self._terminal]:
            self._drawn = now
            self._draw(self.line(now - self._began))

    def line(self, seconds: float) -> str:
        """What is drawn after so many seconds."""
        pace = self._pace
        done = pace.items if not pace.seen else len(pace.seen)
        what = "file" if pace.seen else "step"
        parts = [f"{done:,} of {counted(self._total, what)}" if self._total else counted(done, what)]
        parts += [counted(pace.records, "record")] if pace.records else []
        parts += [f"{max(done, pace.records) / seconds:,.0f} a second"] if seconds > 0 else []
        share = done / self._total if self._total else pace.share
        if _SETTLED <= share <= 1 and seconds > 0:
            left = round(seconds * (1 - share) / share)
            parts.append(f"about {left // 60}:{left % 60:02d} left")
        said = f"{self._label}: {', '.join(parts)}"
        name = next(reversed(pace.seen), "")
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
