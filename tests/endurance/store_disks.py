"""File systems that are poorer than the one of this machine, played in a process: the store does without.

An archive lies on network shares, on exFAT and FAT, on disks of Windows and macOS. None of these can be mounted on
every machine that runs the tests, so the step that such a disk refuses is refused here.
"""

from __future__ import annotations

import errno
import os
from collections.abc import Callable
from pathlib import Path
from typing import Any, Protocol

from archive import disk

CASE_BLIND = "names without case"


class Patch(Protocol):
    """How a name of a module is given another meaning: pytest's MonkeyPatch, or for good."""

    def setattr(self, target: Any, name: str, value: Any) -> None:
        """Sets it."""


class ForGood:
    """In a process that ends with what it does."""

    def setattr(self, target: Any, name: str, value: Any) -> None:
        """Sets it."""
        setattr(target, name, value)


def _refuse(*_: object, **__: object) -> None:
    raise OSError(errno.EPERM, "links are not supported here")


def _no_links(patch: Patch) -> None:
    patch.setattr(os, "link", _refuse)


def _creation_alone(patch: Patch) -> None:
    """As most network shares: no links, and no rename that spares what is there."""
    _no_links(patch)
    patch.setattr(disk, "_rename_without_replace", lambda _old, _new: None)


def _case_blind(patch: Patch) -> None:
    """Two names in a folder that differ in case alone are the same name: the second cannot be made."""

    def look(what: str, path: Path, _old: Path | None) -> None:
        if what in ("create", "mkdir", "link", "rename") and path.parent.is_dir():
            for name in (p.name for p in path.parent.iterdir()):
                if name != path.name and name.casefold() == path.name.casefold():
                    raise FileExistsError(errno.EEXIST, "a name that differs in case alone", str(path))

    patch.setattr(disk, "watcher", look)


DISKS: dict[str, Callable[[Patch], None]] = {
    "links": lambda _patch: None,
    "no links": _no_links,
    "exclusive creation": _creation_alone,
    CASE_BLIND: _case_blind,
}
"""What the disk under an archive can do, and how that is played."""
