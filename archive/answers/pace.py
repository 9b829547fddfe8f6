"""How far reading is: files seen, records, and the share of the bytes that were handed in."""

from __future__ import annotations

import os
from collections.abc import Sequence
from pathlib import Path
from typing import Any


class ReadingPace:
    """inputs: files and folders that are read from. reading: what has its files in a list `files` as they are read, if
    anything has. items: steps taken. records: of the batches among them. seen: names of files, in order."""

    def __init__(self, inputs: Sequence[Any], reading: Any = None) -> None:
        self._reading, self._told = reading, 0
        self._sizes = _sizes(inputs)
        self._whole, self._bytes = sum(self._sizes.values()), 0
        self.files = len(self._sizes)
        self.items = self.records = 0
        self.seen: dict[str, None] = {}

    @property
    def share(self) -> float:
        """Of the bytes; 0 where none are known."""
        return self._bytes / self._whole if self._whole else 0.0

    def step(self, item: Any) -> None:
        """Takes note of one more item: a batch of records, a file, or anything that is counted."""
        self.items += 1
        self.records += len(item) if _is_batch(item) else 0
        told = getattr(self._reading, "files", None)
        for name in _names(item) if told is None else [f.path for f in told[self._told :]]:
            top = next((p for p in _begins(name) if p in self._sizes), None)
            self.seen.setdefault(name)
            if top is not None:
                self._bytes += self._sizes.pop(top)
        self._told = len(told) if told is not None else 0


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
