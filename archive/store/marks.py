"""Writing to an archive on an object store: what is being made lies in a temporary folder of this machine.

It is sent once it is whole, under a name that nobody else uses, before its ledger entry. A mark in aside/, an empty
object named as the folder would be on a disk, says by whom, so that what a stopped writer had sent is taken away.
A request may reach the store after its sender is no more: a mark is left alone for an hour even where the process is
gone, and where nobody could tell whether an entry was committed, everything stays until then.
"""

from __future__ import annotations

import tempfile
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path

from archive import disk
from archive.errors import Trouble
from archive.objects import StorePath
from archive.objects.refusals import StoreTrouble
from archive.store import layout
from archive.store.archive import Archive

ON_ITS_WAY = 3600.0
"""Seconds after which nothing that a process asked for is done any more, if it is no more itself."""


def begin(root: StorePath, name: str) -> Path:
    """A temporary folder to write in, and its mark. Errors: StoreTrouble where the store overwrites what it is told to
    create, or refuses."""
    root.bucket.require_conditions(root.key)
    folder = Path(tempfile.mkdtemp(prefix="muniment-")) / name
    folder.mkdir()
    try:
        disk.put(_mark(root, folder), b"")
    except BaseException:
        disk.remove_tree(folder.parent)
        raise
    return folder


def end(root: StorePath, folder: Path) -> None:
    """Takes the folder away, then its mark."""
    if folder.exists():
        _end(root, folder, keep=_unclear(folder))


def take_back(archive: Archive, folder: Path) -> None:
    """Takes what was sent away too, unless its entry stands or may stand."""
    assert isinstance(archive.root, StorePath)
    name, keep = folder.name.partition(".")[0], _unclear(folder)
    if not folder.exists():
        return
    try:
        if not keep and name not in archive.ledger.made:
            _remove_sent(archive, archive.root, name)
    except StoreTrouble:
        keep = True  # whoever writes next does it
    _end(archive.root, folder, keep=keep)


def heal(archive: Archive, given_up: Callable[[str, float], bool]) -> list[str]:
    """Takes away what stopped writers sent; gives the ids. given_up: by the name of a mark, and its age in seconds."""
    root, healed = archive.root, []
    assert isinstance(root, StorePath)
    for mark, age in root.ages(layout.ASIDE):
        name, tried = mark.name.partition(".")[0], mark.name.startswith("condition-")
        ours = len(mark.parts) == len(root.parts) + 2  # what a repair set apart lies deeper
        if age < ON_ITS_WAY or not ours or not (tried or given_up(mark.name, age)):
            continue
        with suppress(Trouble):
            if not tried:
                _remove_sent(archive, root, name)
                healed.append(name)
            disk.remove(mark)
    return healed


def _remove_sent(archive: Archive, root: StorePath, name: str) -> None:
    places = (root / layout.DEPOSITS / name[:4] / name, root / layout.ASSESSMENTS / name, root / layout.EVENTS / name)
    sent = [p for p in places if p.is_dir()]
    if not sent:
        return
    archive.ledger.look_again()
    committed = {Path(path).parent.as_posix() for entry in archive.entries() for path in entry.files}
    for place in sent:
        if place.relative_to(root).as_posix() not in committed:
            disk.remove_tree(place)


def _unclear(folder: Path) -> bool:
    """Whether an entry was to be committed, and nobody knows whether it was: its file is still there."""
    return any(folder.glob("[0-9]*-*.json"))


def _mark(root: StorePath, folder: Path) -> StorePath:
    return root / layout.ASIDE / folder.name


def _end(root: StorePath, folder: Path, *, keep: bool) -> None:
    disk.remove_tree(folder.parent)
    if not keep:
        with suppress(StoreTrouble):  # an empty object too many
            disk.remove(_mark(root, folder))
