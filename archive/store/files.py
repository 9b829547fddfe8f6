"""Files that are written aside, synced and given their place; digests of files."""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Iterator
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from typing import BinaryIO

from archive import disk
from archive.atomic import atomic_write
from archive.objects import StorePath

_PIECE = 1 << 20


@dataclass(frozen=True)
class Fingerprint:
    """What pins a file down: SHA-256 in hexadecimal digits, and size in bytes; SHA-512 where it was asked for."""

    sha256: str
    bytes: int
    sha512: str = ""


def pieces(path: Path) -> Iterator[bytes]:
    """A file's bytes, a piece at a time."""
    if isinstance(path, StorePath):
        yield from path.pieces()
        return
    with path.open("rb") as file:
        while piece := file.read(_PIECE):
            yield piece


def fingerprint(path: Path) -> Fingerprint:
    """SHA-256 and size of a file, read a piece at a time."""
    sha, size = hashlib.sha256(), 0
    for piece in pieces(path):
        sha.update(piece)
        size += len(piece)
    return Fingerprint(sha.hexdigest(), size)


def holds(path: Path, digest: str) -> bool:
    """Whether a file is there, can be read, and has this SHA-256."""
    try:
        return path.is_file() and fingerprint(path).sha256 == digest
    except OSError:
        return False


def sha256(data: bytes) -> str:
    """SHA-256 in hexadecimal digits."""
    return hashlib.sha256(data).hexdigest()


class DigestedFile:
    """A new file that digests what is written to it; for writers that only ever append (Parquet is one)."""

    def __init__(self, path: Path, *, long: bool = False) -> None:
        """long: also take its SHA-512."""
        self.path = path
        self._file: BinaryIO = disk.create(path)
        self._sha = hashlib.sha256()
        self._long = hashlib.sha512() if long else None
        self._size = 0
        self._given_up = False
        self.closed = False

    def write(self, data: bytes) -> int:
        """Appends bytes."""
        if self._given_up:
            return memoryview(data).nbytes
        self._file.write(data)
        self._sha.update(data)
        if self._long is not None:
            self._long.update(data)
        size = memoryview(data).nbytes
        self._size += size
        return size

    def tell(self) -> int:
        """Bytes written so far."""
        return self._size

    def flush(self) -> None:
        """Hands the bytes to the system."""
        if not self.closed:
            self._file.flush()

    def readable(self) -> bool:
        """Never."""
        return False

    def writable(self) -> bool:
        """Always."""
        return True

    def seekable(self) -> bool:
        """Never: what is written stays."""
        return False

    def close(self) -> None:
        """Closes the file; `finish` syncs it first."""
        if not self.closed:
            self.closed = True
            self._file.close()

    def give_up(self) -> None:
        """Closes the file as it is; a Parquet writer that still wants to end itself writes into nothing."""
        self._given_up = True
        with suppress(OSError):  # what is still to be written may find no room; it is wanted no more
            self.close()

    def finish(self) -> Fingerprint:
        """Syncs, closes, takes the right to write away, and says what was written."""
        disk.sync(self._file, self.path)
        self.close()
        disk.close_for_writing(self.path)
        return Fingerprint(self._sha.hexdigest(), self._size, self._long.hexdigest() if self._long else "")


def write_new(path: Path, data: bytes) -> Fingerprint:
    """A new file with its bytes on the disk, not to be written again. Errors: FileExistsError."""
    return write_by(path, lambda file: file.write(data))


def copy_new(old: Path, new: Path) -> Fingerprint:
    """A copy on the disk, digested on the way. Errors: FileExistsError."""

    def copy(file: DigestedFile) -> None:
        for piece in pieces(old):
            file.write(piece)

    return write_by(new, copy)


def write_by(path: Path, write: Callable[[DigestedFile], object]) -> Fingerprint:
    """A new file, written by a function, on the disk and not to be written again. Errors: FileExistsError."""
    file = DigestedFile(path)
    try:
        write(file)
        return file.finish()
    finally:
        file.close()


def put(path: Path, data: bytes, aside: Path) -> None:
    """Gives a file bytes in one step, by way of a folder aside: readers see the old ones or the new ones."""
    if isinstance(path, StorePath):
        disk.put(path, data)
        return
    with atomic_write(path, aside=aside) as temporary:
        write_new(temporary, data)
