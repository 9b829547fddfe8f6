"""A bound of time for work in this process, so that a file at which a loop never ends costs itself alone.

The work is interrupted between two steps of Python. A call into a native library or a regular expression is not
interrupted before it returns: what can hang there runs in a process of its own (archive.confined), or is refused.
"""

from __future__ import annotations

import threading
import time
from collections.abc import Callable
from typing import TypeVar

from archive.confined import SECONDS, seconds_for
from archive.errors import Trouble
from archive.parallel import interrupt

Made = TypeVar("Made")


class _TooSlow(BaseException):
    """Raised in the thread that works, wherever it is; no handler of errors may take it for one."""


class Deadline:
    """The time that one file may take. name: of the file, for messages; size: its bytes."""

    def __init__(self, name: str, size: int) -> None:
        self._name = name
        self._seconds = seconds_for(size)
        self._left = float(self._seconds)
        self._lock = threading.Lock()
        self._working = self._raised = False

    def run(self, work: Callable[[], Made]) -> Made:
        """What the work makes; time counts while it works, over all calls. Errors: Trouble where none is left."""
        begun, self._working, self._raised = time.monotonic(), True, False
        timer = threading.Timer(max(self._left, 0), self._interrupt, (threading.get_ident(),))
        timer.daemon = True
        try:
            try:
                timer.start()
                return work()
            except _TooSlow:
                self._raised = False
                raise
            finally:
                timer.cancel()
                with self._lock:
                    self._working = False
                while self._raised:
                    time.sleep(0.01)  # it is on its way, and arrives here
        except _TooSlow:
            pass
        finally:
            self._left -= time.monotonic() - begun
        raise Trouble(
            "reading it takes more time than one file may",
            code="confined.time",
            where=self._name,
            found=f"more than {self._seconds:,} seconds",
            remedy=f"it may be damaged; if you trust it, allow more: set {SECONDS} to a larger number of seconds",
        )

    def _interrupt(self, thread: int) -> None:
        with self._lock:
            if self._working:
                self._raised = True
                interrupt(thread, _TooSlow)
