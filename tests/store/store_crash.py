"""Stopping the program at one step of its work on the disk, in this process, and what a power cut leaves of it."""

from __future__ import annotations

import shutil
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from archive import disk

STEPS = ("fsync", "link", "rename", "remove")
"""Steps at which the program is stopped. Before each of them is after the one before."""


class Crash(BaseException):
    """The program is no more: every later step raises it too, as a dead program takes none."""


@dataclass
class Machine:
    """Counts steps, and stops before the step of that number.

    power: what was not synced is lost too. Files that were not synced are cut to half their bytes, and renames and
    links in folders that were not synced are undone: the worst that a file system with ordered writes may leave.
    """

    stop: int | None = None
    power: bool = False
    count: int = 0
    dead: bool = False
    seen: list[tuple[str, Path]] = field(default_factory=list)
    _dirty: dict[Path, None] = field(default_factory=dict)
    _names: list[tuple[str, Path, Path]] = field(default_factory=list)
    _pending: Callable[[], None] | None = None

    def __call__(self, what: str, path: Path, old: Path | None) -> None:
        if self.dead:
            raise Crash
        if self._pending is not None:
            self._pending()
            self._pending = None
        if what in STEPS:
            if self.count == self.stop:
                self.dead = True
                if self.power:
                    self.cut()
                raise Crash
            self.count += 1
            self.seen.append((what, path))
        self._pending = {
            "create": lambda: self._dirty.update({path: None}),
            "fsync": lambda: self._synced(path),
            "rename": lambda: self._moved("rename", path, old),
            "link": lambda: self._moved("link", path, old),
        }.get(what)

    def _synced(self, path: Path) -> None:
        self._dirty.pop(path, None)
        self._names = [n for n in self._names if n[1].parent != path]

    def _moved(self, what: str, new: Path, old: Path | None) -> None:
        assert old is not None
        self._names.append((what, new, old))
        for path in list(self._dirty):
            if path == old or old in path.parents:
                del self._dirty[path]
                self._dirty[new / path.relative_to(old) if path != old else new] = None

    def cut(self) -> None:
        """The power goes: what was not synced is lost."""
        if self._pending is not None:
            self._pending()
        for path in self._dirty:
            if path.is_file():
                data = path.read_bytes()
                path.chmod(0o644)
                path.write_bytes(data[: len(data) // 2])
        for what, new, old in reversed(self._names):
            if not new.exists():
                continue
            if what == "link":
                new.unlink()
            elif old.parent.is_dir():
                new.rename(old)
            elif new.is_dir():
                shutil.rmtree(new)
            else:
                new.unlink()


@contextmanager
def machine(stop: int | None = None, *, power: bool = False) -> Iterator[Machine]:
    """Runs what is inside on a machine that stops; swallows the stop."""
    made = Machine(stop, power)
    disk.watcher = made
    try:
        yield made
    except Crash:
        pass
    finally:
        disk.watcher = None


def steps(work: Callable[[], Any]) -> Machine:
    """Does the work without stopping, and counts."""
    with machine() as made:
        work()
    return made
