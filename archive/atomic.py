"""A file or folder that is made aside and takes its place in one step: nothing is ever half there."""

from __future__ import annotations

import errno
import os
import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from archive.errors import Trouble


@contextmanager
def atomic_write(out: Path) -> Iterator[Path]:
    """A temporary path beside `out`; what was made there takes its place at the end, or nothing does.

    Errors: Trouble where the disk is full or the folder cannot be written.
    """
    temporary = out.parent / f".{out.name}.{os.getpid()}.part"
    try:
        out.parent.mkdir(parents=True, exist_ok=True)
        _remove(temporary)
        yield temporary
        _sync(temporary)
        _take_place(temporary, out)
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
        temporary.replace(out)
        return
    old = temporary.with_suffix(".old")
    _remove(old)
    if there := out.exists() or out.is_symlink():
        out.replace(old)
    try:
        temporary.replace(out)
    except OSError:
        if there:
            old.replace(out)
        raise
    _remove(old)


def _remove(path: Path) -> None:
    if path.is_dir() and not path.is_symlink():
        shutil.rmtree(path, ignore_errors=True)
    else:
        path.unlink(missing_ok=True)


def _sync(path: Path) -> None:
    """Bytes on disk before the rename."""
    for file in sorted(f for f in path.rglob("*") if f.is_file()) if path.is_dir() else [path]:
        with file.open("rb") as opened:
            os.fsync(opened.fileno())


def require_empty(out: Path) -> None:
    """Looks whether a folder may be written. Errors: Trouble where something is in it."""
    if out.exists() and (not out.is_dir() or any(out.iterdir())):
        raise Trouble(
            "the folder is not empty",
            code="file.folder-not-empty",
            where=str(out),
            remedy="name a folder that is not there yet",
        )


def write_bytes(out: Path, data: bytes) -> None:
    """Gives a file its bytes. Errors: see atomic_write."""
    with atomic_write(out) as temporary:
        temporary.write_bytes(data)
