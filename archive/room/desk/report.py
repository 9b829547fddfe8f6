"""How far a piece of work is, as its child process writes it down; and whether somebody asked it to stop."""

from __future__ import annotations

import os
import time
from collections.abc import Callable, Iterable, Iterator
from pathlib import Path
from typing import Any, TypeVar

from archive.room.desk.files import write_json

Item = TypeVar("Item")

_EVERY = 1.0
"""Seconds between two states that are written."""
_LOOK = 0.2
"""Seconds between two looks for a stop."""
_FIRST = 4.0
"""Seconds of a stage before a rate says anything."""
_ALIKE = 0.25
"""The time left is told once two guesses, some seconds apart, differ by no more than this share."""
_APART = 3.0


class StopAsked(Exception):
    """A person asked for a stop, and this is a safe point."""


class WorkReport:
    """Writes the state of one piece of work."""

    def __init__(self, folder: Path) -> None:
        self._folder = folder
        self._state: dict[str, Any] = {"word": "waiting"}
        self._pid = os.getpid()
        self._began = self._written = self._looked = 0.0
        self._guess: tuple[float, float] | None = None
        self._end: float | None = None

    def stage(self, name: str, total: int | None = None, unit: str = "") -> None:
        """A stage begins. total: of what is counted in it; unit: "files", "records" or "bytes". A safe point."""
        self.check()
        self._began, self._guess, self._end = time.monotonic(), None, None
        self._state = {"word": "running", "stage": name, "done": 0, "total": total, "unit": unit}
        self._write()

    def wait(self) -> None:
        """Others run before it."""
        self._state = {"word": "waiting", "stage": "turn"}
        self._write()

    def at(self, done: int, share: float | None = None, **more: Any) -> None:
        """So many of the stage are done. share: of the whole, where it is known otherwise. A safe point."""
        self.check()
        now = time.monotonic()
        self._state |= {"done": done, **more}
        if now - self._written < _EVERY:
            return
        seconds = now - self._began
        if seconds >= _FIRST:
            self._state["rate"] = done / seconds
            total = self._state["total"]
            part = share if share is not None else (done / total if total else None)
            self._state["left"] = self._left(now, seconds, part)
        self._write()

    def through(self, items: list[Item], stage: str) -> Iterable[Item]:
        """Passes the items of a stage on."""
        self.stage(stage, len(items), "files")
        for count, item in enumerate(items):
            self.at(count)
            yield item
        self.at(len(items))

    def check(self) -> None:
        """Errors: StopAsked where somebody asked for it."""
        now = time.monotonic()
        if now - self._looked >= _LOOK:
            self._looked = now
            if (self._folder / "stop").exists():
                raise StopAsked

    def end(self, word: str, **more: Any) -> None:
        """The last state. more: what a page says of it."""
        self._state = {**self._state, "word": word, "left": None, **more}
        self._write()

    def result(self, value: dict[str, Any]) -> None:
        """Keeps what came of it."""
        write_json(self._folder / "result.json", value)

    def _left(self, now: float, seconds: float, share: float | None) -> float | None:
        """Seconds left, once guesses of it agree."""
        if not share or share > 1:
            return None
        end = now + seconds * (1 - share) / share
        if self._guess is None:
            self._guess = (now, end)
        elif now - self._guess[0] >= _APART:
            alike = abs(end - self._guess[1]) <= _ALIKE * max(end - now, 4.0)
            self._end, self._guess = (end if alike else None), (now, end)
        return None if self._end is None else max(0.0, self._end - now)

    def _write(self) -> None:
        self._written = time.monotonic()
        write_json(self._folder / "state.json", {**self._state, "pid": self._pid})


def watched(items: Iterable[Item], step: Callable[[Item], None]) -> Iterator[Item]:
    """Passes items on, with a step for each."""
    for item in items:
        step(item)
        yield item
