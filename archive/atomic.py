"""A file or folder that is made aside and takes its place in one step: nothing is ever half there."""

from __future__ import annotations

import errno
import os
import secrets
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from archive import disk
from archive.errors import Trouble


@contextmanager
def atomic_write(out: Path, *, aside: Path | None = None, durable: bool = True) -> Iterator[Path]:
    """A temporary path; what was made there takes its place at `out` at the end, or nothing does.

    aside: folder of the temporary path, on the same file system; by default that of `out`. durable: the bytes reach
    the disk before the rename, and the name after it; False for what may be thrown away.
    Errors: Trouble where the disk is full or the folder cannot be written.
    """
    folder = out.parent if aside is None else aside
    temporary = folder / f".{out.name}.{os.getpid()}.{secrets.token_hex(4)}.part"
    try:
        out.parent.mkdir(parents=True, exist_ok=True)
        yield temporary
        if durable:
            _sync(temporary)
        _take_place(temporary, out)
        if durable:
            disk.sync_folder(out.parent)
    except OSError as error:
        _remove(temporary)
        if error.errno in (errno.ENOSPC, errno.EDQUOT):
            raise Trouble(
                "the disk is full; nothing was written",
                code="file.disk-full",
                where=str(out),
                remedy="free some space or name another place",
            ) from None
        if error.filename is not None and Path(os.fsdecode(error.filename)) in (temporary, out.parent):
            raise Trouble(
                "cannot be written",
                code="file.not-writable",
                where=str(out),
                found=str(error.strerror),
                remedy="name another place",
            ) from None
        raise
    except BaseException:
        _remove(temporary)
        raise


def _take_place(temporary: Path, out: Path) -> None:
    """A folder cannot be replaced in one step: the old one goes aside, and comes back where the new one cannot."""
    if not out.is_dir() and not temporary.is_dir():
        disk.rename(temporary, out)
        return
    old = temporary.with_suffix(".old")
    if there := out.exists() or out.is_symlink():
        disk.rename(out, old)
    try:
        disk.rename(temporary, out)
    except OSError:
        if there:
            disk.rename(old, out)
        raise
    _remove(old)


def _remove(path: Path) -> None:
    if path.is_dir() and not path.is_symlink():
        disk.remove_tree(path)
    else:
        disk.remove(path)


def _sync(path: Path) -> None:
    """Bytes on disk before the rename."""
    for file in sorted(f for f in path.rglob("*") if f.is_file()) if path.is_dir() else [path]:
        with file.open("rb") as opened:
            disk.sync(opened, file)


def require_empty(out: Path) -> None:
    """Looks whether a folder may be written. Errors: Trouble where something is in it."""
    if out.exists() and (not out.is_dir() or any(out.iterdir())):
        raise Trouble(
            "the folder is not empty",
            code="file.folder-not-empty",
            where=str(out),
            remedy="name a folder that is not there yet",
        )


def write_bytes(out: Path, data: bytes, *, aside: Path | None = None, durable: bool = True) -> None:
    """Gives a file its bytes. Arguments and errors: see atomic_write."""
    with atomic_write(out, aside=aside, durable=durable) as temporary, disk.create(temporary) as file:
        file.write(data)
