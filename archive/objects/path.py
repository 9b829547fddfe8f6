"""An address on an object store as a path: what the archive asks of a pathlib.Path, and nothing that writes.

It is no os.PathLike: whatever would open it as a file of this machine fails at once. Folders are not kept on a store:
a folder is there where a key lies in it.
"""

from __future__ import annotations

import io
import os
from collections.abc import Generator, Iterable, Iterator
from fnmatch import fnmatchcase
from pathlib import Path, PurePosixPath
from typing import IO, TYPE_CHECKING, Any, NamedTuple

from archive.objects import settings

if TYPE_CHECKING:
    from archive.objects.bucket import Bucket

    _Base = Path
else:
    _Base = PurePosixPath


class KeyStat(NamedTuple):
    """What is known of a key: bytes, and the ETag, by which one content is told from another."""

    st_size: int
    tag: str


class StorePath(_Base):
    """scheme://bucket/key. Pure parts are those of a posix path; what asks the store raises as Bucket does."""

    def __str__(self) -> str:
        text = super().__str__()
        scheme, found, rest = text.partition(":/")
        return f"{scheme}://{rest.lstrip('/')}" if found and scheme in settings.SCHEMES else text

    def __fspath__(self) -> str:
        raise TypeError(f"{self} is no file of this machine")

    @property
    def bucket(self) -> Bucket:
        """The bucket that it is in."""
        from archive.objects.bucket import bucket

        return bucket(self.parts[0].rstrip(":"), self.parts[1])

    @property
    def key(self) -> str:
        """Its key in the bucket; empty for the bucket itself."""
        return "/".join(self.parts[2:])

    def _of(self, keys: Iterable[str]) -> list[StorePath]:
        base = type(self)(*self.parts[:2])
        return [base / key for key in keys]

    def absolute(self) -> StorePath:
        """Itself: an address is whole."""
        return self

    def resolve(self, strict: bool = False) -> StorePath:
        """Itself."""
        return self

    def stat(self, *, follow_symlinks: bool = True) -> Any:
        """Its size and ETag. Errors: FileNotFoundError."""
        return KeyStat(*self.bucket.stat(self.key))

    def is_file(self) -> bool:
        """Whether there is such a key."""
        try:
            return bool(self.key) and bool(self.stat())
        except FileNotFoundError:
            return False

    def is_dir(self) -> bool:
        """Whether keys lie under it."""
        return any(self.bucket.level(self.key))

    def exists(self) -> bool:
        """Whether it is a key, or keys lie under it."""
        return self.is_file() or self.is_dir()

    def is_symlink(self) -> bool:
        """Never."""
        return False

    def mkdir(self, mode: int = 0o777, parents: bool = False, exist_ok: bool = False) -> None:
        """Nothing: a store has no folders."""

    def rmdir(self) -> None:
        """Nothing."""

    def iterdir(self) -> Generator[StorePath, None, None]:
        """What lies directly under it."""
        folders, keys = self.bucket.level(self.key)
        yield from self._of(sorted([*folders, *keys]))

    def rglob(self, pattern: str) -> Generator[StorePath, None, None]:
        """Keys under it whose last part fits."""
        yield from (p for p in self._of(self.bucket.keys(self.key)) if fnmatchcase(p.name, pattern))

    def glob(self, pattern: str) -> Generator[StorePath, None, None]:
        """Keys and folders under it, as many parts down as the pattern has, each of which fits its own."""
        wanted = pattern.split("/")
        depth = len(self.parts)
        found = {p.parts[: depth + len(wanted)] for p in self._of(self.bucket.keys(self.key))}
        for parts in sorted(found):
            inside = parts[depth:]
            if len(inside) == len(wanted) and all(map(fnmatchcase, inside, wanted)):
                yield type(self)(*parts)

    def open(self, mode: str = "rb", *_: Any, **__: Any) -> IO[Any]:  # type: ignore[override]
        """Open for reading bytes, of which only the ranges are fetched that are read."""
        if mode != "rb":
            raise io.UnsupportedOperation(f"{self} is opened for reading bytes alone")
        from archive.objects.ranged import RangedFile

        return io.BufferedReader(RangedFile(self.bucket, self.key))

    def read_bytes(self) -> bytes:
        """All bytes."""
        return self.bucket.get(self.key)

    def read_text(self, encoding: str | None = None, errors: str | None = None) -> str:
        """All bytes as text."""
        return self.read_bytes().decode(encoding or "utf-8", errors or "strict")

    def look(self) -> None:
        """Sees everything under it anew."""
        self.bucket.look(self.key)

    def fetch(self, paths: Iterable[str]) -> None:
        """Small objects under it that will be read, asked for beside each other."""
        self.bucket.fetch((self / path).key for path in paths)

    def forget(self) -> None:
        """Nothing that was seen or fetched of it before counts from now on."""
        self.bucket.forget(self.key)

    def ages(self, folder: str) -> list[tuple[StorePath, float]]:
        """Keys in a folder under it, each with the seconds since it was written, by the clocks of store and machine."""
        return [(self._of([key])[0], age) for key, age in self.bucket.ages((self / folder).key)]

    def was_seen(self) -> bool:
        """Whether there was such a key at the last look."""
        return self.key in self.bucket.seen

    def pieces(self) -> Iterator[bytes]:
        """All bytes, a piece at a time."""
        yield from self.bucket.pieces(self.key)


def place(said: str | os.PathLike[str]) -> Path:
    """The path of an archive as a person gives it: an address on a store, else a path on this machine."""
    if isinstance(said, StorePath):
        return said
    text = str(said)
    scheme, found, rest = text.partition(":/")
    if found and scheme in settings.SCHEMES:
        parts = [p for p in rest.split("/") if p]
        _require(text, parts)
        return StorePath(f"{scheme}:", *parts)
    return Path(said)


def _require(text: str, parts: list[str]) -> None:
    from archive.errors import Trouble

    if not parts or ".." in parts or not text.isprintable():
        raise Trouble(
            "this names no place on a store",
            code="store.address",
            where=text,
            expected="scheme://bucket/prefix, such as s3://certificates/archive",
        )


def local(path: Path, folder: Path) -> Path:
    """A small file for what reads files of this machine alone: itself, or a copy in a folder."""
    if not isinstance(path, StorePath):
        return path
    copy = folder / path.name
    copy.write_bytes(path.read_bytes())
    return copy
