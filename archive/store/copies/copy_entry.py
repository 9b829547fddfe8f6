"""Copying what one ledger entry commits, verified on the way."""

from __future__ import annotations

from pathlib import Path

from archive import disk
from archive.errors import Trouble
from archive.store import files
from archive.store.committed import files_of
from archive.store.ledger import LedgerEntry


def copy_entry(source: Path, entry: LedgerEntry, target: Path, aside: Path, gone: dict[str, str]) -> int:
    """Copies what an entry commits from one archive to another; gives the number of bytes.

    A folder is copied aside, then renamed into place; what has its place already is left. Files that were redacted
    are not there to copy. Errors: Trouble where a file of the source is not what its digest says.
    """
    total = 0
    folders = {Path(path).parent.as_posix() for path in entry.files if "/" in path}
    for folder in sorted(folders):
        if (target / folder).exists():
            continue
        building = aside / Path(folder).name
        disk.remove_tree(building)
        disk.make_folder(building)
        for path, digest in files_of(source, entry):
            if path.startswith(f"{folder}/") and path not in gone:
                total += _copy(source / path, building / path.removeprefix(f"{folder}/"), digest)
        disk.move_in(building, target / folder)
    for path, told in entry.files.items():
        if "/" not in path and not (target / path).exists():
            total += _copy(source / path, target / path, told["sha256"])
    return total


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
