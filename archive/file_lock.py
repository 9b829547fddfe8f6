"""A lock on a file that one process holds at a time; the system lets go of it however the process ends."""

from __future__ import annotations

import os
from pathlib import Path
from typing import IO


def lock(path: Path) -> IO[bytes]:
    """The file, made where it is not there, locked until it is closed.

    Errors: BlockingIOError where another process holds it; OSError where it cannot be opened.
    """
    file = path.open("a+b")
    try:
        _lock(file)
    except OSError as error:
        file.close()
        raise BlockingIOError(*error.args) from None
    return file


def is_locked(path: Path) -> bool:
    """Whether a process holds it now. Errors: OSError where the file cannot be opened."""
    if not path.exists():
        return False
    try:
        lock(path).close()
    except BlockingIOError:
        return True
    return False


def _lock(file: IO[bytes]) -> None:
    if os.name == "nt":
        import msvcrt

        file.seek(0)
        msvcrt.locking(file.fileno(), msvcrt.LK_NBLCK, 1)  # type: ignore[attr-defined,unused-ignore]
    else:
        import fcntl

        fcntl.flock(file.fileno(), fcntl.LOCK_EX | fcntl.LOCK_NB)
