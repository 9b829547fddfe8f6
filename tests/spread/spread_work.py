"""Pieces of work for tests of work that is spread: functions of a module, as other processes must find them."""

from __future__ import annotations

import os
import signal
import warnings
from pathlib import Path

from archive.errors import Trouble


def doubled(number: int) -> int:
    """Twice a number."""
    return 2 * number


def noted(piece: tuple[str, int]) -> int:
    """Twice a number; leaves one file in a folder for each time it was asked."""
    folder, number = piece
    (Path(folder) / f"{number}-{os.getpid()}-{os.urandom(4).hex()}").touch()
    return 2 * number


def fatal(piece: tuple[str, int]) -> int:
    """Twice a number; 3 ends the process, always."""
    if piece[1] == 3:
        os.kill(os.getpid(), signal.SIGKILL)
    return noted(piece)


def fatal_once(piece: tuple[str, int]) -> int:
    """Twice a number; 3 ends the process the first time."""
    mark = Path(piece[0]) / "was-here"
    if piece[1] == 3 and not mark.exists():
        mark.touch()
        os.kill(os.getpid(), signal.SIGKILL)
    return noted(piece)


def troubled(number: int) -> int:
    """Raises what a person can fix, for 3."""
    if number == 3:
        raise Trouble("three", code="file.not-writable", where="here", found="3", remedy="leave it")
    return number


def warned(number: int) -> int:
    """Warns of each."""
    warnings.warn(f"number {number}", UserWarning, stacklevel=2)
    return number
