"""Copying what one ledger entry commits, verified on the way."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

from archive.errors import Trouble
from archive.store import disk, files
from archive.store.bags import MANIFEST, TAG_MANIFEST, read_manifest
from archive.store.ledger import LedgerEntry


def files_of(root: Path, entry: LedgerEntry) -> Iterator[tuple[str, str]]:
    """Every file that an entry commits, down to the last one in its bags: path in the archive, SHA-256.

    Errors: Trouble where a manifest cannot be read.
    """
    for path, told in entry.files.items():
        if path.endswith(f"/{TAG_MANIFEST}"):
            yield from _of_bag(root, path.removesuffix(f"/{TAG_MANIFEST}"))
        yield path, told["sha256"]


def _of_bag(root: Path, folder: str) -> Iterator[tuple[str, str]]:
    try:
        tags = read_manifest(root / folder / TAG_MANIFEST)
        listed = read_manifest(root / folder / MANIFEST)
    except (OSError, ValueError) as error:
        raise Trouble("a manifest cannot be read", where=str(root / folder), found=str(error)) from None
    for name, digest in sorted({**listed, **tags}.items()):
        yield f"{folder}/{name}", digest


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
        _make(building)
        for path, digest in files_of(source, entry):
            if path.startswith(f"{folder}/") and path not in gone:
                total += _copy(source / path, building / path.removeprefix(f"{folder}/"), digest)
        _make((target / folder).parent)
        disk.rename(building, target / folder)
        disk.sync_folder((target / folder).parent)
    for path, told in entry.files.items():
        if "/" not in path and not (target / path).exists():
            total += _copy(source / path, target / path, told["sha256"])
    return total


def _copy(old: Path, new: Path, digest: str) -> int:
    if not old.is_file():
        raise Trouble("the file is missing", where=str(old), remedy="run `muniment fixity` and `muniment repair` first")
    _make(new.parent)
    found = files.copy_new(old, new)
    if found.sha256 != digest:
        disk.remove(new)
        raise Trouble("the file is damaged", where=str(old), remedy="run `muniment fixity` and `muniment repair` first")
    return found.bytes


def _make(folder: Path) -> None:
    if not folder.is_dir():
        _make(folder.parent)
        disk.make_folder(folder)
