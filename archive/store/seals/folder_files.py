"""The files of a folder that left the archive, and their digests."""

from __future__ import annotations

import hashlib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from archive.store import files
from archive.store.bags import Damage

BESIDE = frozenset({"seal.json", "seal-proof.json"})
"""The seal and its proof: they speak of all other files, and no manifest lists them."""


@dataclass(frozen=True)
class FileDigests:
    """What pins a file down twice: both digests in hexadecimal digits, and its size in bytes."""

    sha256: str
    sha512: str
    size: int

    @classmethod
    def of(cls, data: bytes) -> FileDigests:
        """Those of bytes in memory."""
        return cls(hashlib.sha256(data).hexdigest(), hashlib.sha512(data).hexdigest(), len(data))

    def plain(self) -> dict[str, Any]:
        """As a seal holds them."""
        return {"sha256": self.sha256, "sha512": self.sha512, "bytes": self.size}


def digests(folder: Path) -> dict[str, FileDigests]:
    """Every regular file under a folder by its path in it, without the seal and its proof.

    Errors: OSError where a file cannot be read.
    """
    found = {}
    for path in sorted(folder.rglob("*")):
        name = path.relative_to(folder).as_posix()
        if path.is_file() and not path.is_symlink() and name not in BESIDE:
            found[name] = _of(path)
    return found


def unfit(folder: Path) -> Iterator[Damage]:
    """What no sealed folder holds: symbolic links, and whatever is neither a file nor a folder with files in it."""
    for path in sorted(folder.rglob("*")):
        name = path.relative_to(folder).as_posix()
        if path.is_symlink():
            yield Damage(name, "is a symbolic link, not a file")
        elif path.is_dir():
            if not any(path.iterdir()):
                yield Damage(name, "is an empty folder, which the file did not have")
        elif not path.is_file():
            yield Damage(name, "is not a regular file")


def compare(there: Mapping[str, FileDigests], said: Mapping[str, Any]) -> Iterator[Damage]:
    """Files that are not those whose digests are said: changed, missing, added."""
    for name in sorted({*there, *said}):
        if name not in there:
            yield Damage(name, "missing")
        elif name not in said:
            yield Damage(name, "added: the seal does not list it")
        elif there[name].plain() != said[name]:
            yield Damage(name, "changed: its digests are not those in the seal")


def _of(path: Path) -> FileDigests:
    short, long, size = hashlib.sha256(), hashlib.sha512(), 0
    for piece in files.pieces(path):
        short.update(piece)
        long.update(piece)
        size += len(piece)
    return FileDigests(short.hexdigest(), long.hexdigest(), size)
