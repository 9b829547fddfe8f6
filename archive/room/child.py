"""Long work in a process of its own: a command, run as a person would run it, so that it holds up nobody who looks."""

from __future__ import annotations

import subprocess
import sys
import threading
from collections.abc import Sequence

from archive.errors import Trouble

_CODE = "from archive.cli import main; main()"
_SECONDS = 240
_AT_ONCE = threading.Semaphore(2)


def run(words: Sequence[str]) -> str:
    """Runs `muniment WORDS...` and gives what it printed. Values go as --option=value, so that none is taken for an
    option.

    Errors: Trouble where it refuses, takes too long, or two run already.
    """
    if not _AT_ONCE.acquire(timeout=20):
        raise Trouble(
            "two documents are being made already", code="room.busy", remedy="ask again when they are done, in a minute"
        )
    try:
        done = subprocess.run(
            [sys.executable, "-c", _CODE, *words], capture_output=True, text=True, timeout=_SECONDS, check=False
        )
    except subprocess.TimeoutExpired:
        remedy = "make it at a terminal, with the command that the page names"
        raise Trouble(
            "it takes longer than a page may wait", code="room.busy", found=f"{_SECONDS} seconds", remedy=remedy
        ) from None
    finally:
        _AT_ONCE.release()
    if done.returncode not in (0, 1):
        raise Trouble("the command refused", code="room.command", found=done.stderr.strip()[-600:], remedy="see below")
    return done.stdout
