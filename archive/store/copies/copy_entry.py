"""Copying what one ledger entry commits, verified on the way."""

from __future__ import annotations

import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from archive import disk
from archive.errors import Trouble
from archive.objects import StorePath
from archive.store import files, layout
from archive.store.committed import files_of
from archive.store.ledger import LedgerEntry


def copy_entry(source: Path, entry: LedgerEntry, target: Path, aside: Path, gone: dict[str, str]) -> int:
    """Copies what an entry commits from one archive to another; gives the number of bytes.

    aside: a folder of this machine, or of the target's disk. A folder is copied aside, then renamed into place; what
    has its place already is left. Files that were redacted are not there to copy. Errors: Trouble where a file of the
    source is not what its digest says.
    """
    total = 0
    folders = {Path(path).parent.as_posix() for path in entry.files if "/" in path}
    for folder in sorted(folders):
        if not isinstance(target, StorePath) and (target / folder).exists():
            continue  # on a store it may be there in part, and is sent again
        building = aside / Path(folder).name
        disk.remove_tree(building)
        disk.make_folder(building)
        for path, digest in files_of(source, entry):
            if path.startswith(f"{folder}/") and path not in gone:
                total += _copy(source / path, building / path.removeprefix(f"{folder}/"), digest)
        disk.move_in(building, target / folder)
        disk.remove_tree(building)
    for path, told in entry.files.items():
        if "/" not in path and not (target / path).exists():
            total += _copy_file(source / path, target / path, told["sha256"], aside)
    return total


@contextmanager
def staged(target: Path) -> Iterator[Path]:
    """The folder that files of a copy are made in: aside on its disk, or of this machine where it lies on a store."""
    if not isinstance(target, StorePath):
        yield target / layout.ASIDE
        return
    target.bucket.require_conditions(target.key)
    with tempfile.TemporaryDirectory(prefix="muniment-") as folder:
        yield Path(folder)


def _copy_file(old: Path, new: Path, digest: str, aside: Path) -> int:
    if not isinstance(new, StorePath):
        return _copy(old, new, digest)
    found = _copy(old, aside / new.name, digest)
    disk.move_in(aside / new.name, new)
    disk.remove(aside / new.name)
    return found


def _copy(old: Path, new: Path, digest: str) -> int:
    if not old.is_file():
        raise Trouble(
            "the file is missing",
            code="archive.file-missing",
            where=str(old),
            remedy="run `muniment fixity` and `muniment repair` first",
        )
    disk.make_folder(new.parent)
    found = files.copy_new(old, new)
    if found.sha256 != digest:
        disk.remove(new)
        raise Trouble(
            "the file is damaged",
            code="archive.file-damaged",
            where=str(old),
            remedy="run `muniment fixity` and `muniment repair` first",
        )
    return found.bytes
