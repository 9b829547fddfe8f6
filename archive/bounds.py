"""Bounds of time and memory for work in this process, so that a file at which a loop never ends costs itself alone.

The work is interrupted between two steps of Python: by a watch that looks at the time, and at what memory this process
has taken since. What a native library takes in one call is bounded by the system, a little higher. A call that never
returns, or that ends the process, is not survived: what can do that runs in a process of its own (archive.confined), or
is refused.
"""

from __future__ import annotations

import sys
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TypeVar

from archive.confined import MEMORY, bound, seconds_for, too_large, too_slow
from archive.parallel import interrupt

Made = TypeVar("Made")

_LOOK = 0.2
"""Seconds between two looks at the memory."""
_ABOVE = 1536 << 20
"""Bytes by which the bound of the system is higher than that of the watch: Arrow takes whole gigabytes of addresses,
and other threads that archive what was read meanwhile shall not be the ones that get none."""


class _PastBound(BaseException):
    """Raised in the thread that works, wherever it is; no handler of errors may take it for one."""


class _TooSlow(_PastBound):
    pass


class _TooLarge(_PastBound):
    pass


class FileBounds:
    """The time and memory that one file may take. name: of the file, for messages; size: its bytes."""

    def __init__(self, name: str, size: int) -> None:
        self._name = name
        self._seconds = seconds_for(size)
        self._memory_mb = bound(MEMORY)
        self._left = float(self._seconds)
        self._lock = threading.Lock()
        self._working = self._raised = False

    def run(self, work: Callable[[], Made]) -> Made:
        """What the work makes; time counts while it works, over all calls. Errors: Trouble where a bound is passed."""
        begun, self._working, self._raised = time.monotonic(), True, False
        done = threading.Event()
        until = begun + max(self._left, 0)
        watch = threading.Thread(target=self._watch, args=(threading.get_ident(), done, until), daemon=True)
        past: type[_PastBound]
        with growth_bounded((self._memory_mb << 20) + _ABOVE) as by_system:
            try:
                try:
                    watch.start()
                    return work()
                except _PastBound:
                    self._raised = False
                    raise
                finally:
                    done.set()
                    with self._lock:
                        self._working = False
                    while self._raised:
                        time.sleep(0.01)  # it is on its way, and arrives here
            except _PastBound as raised:
                past = type(raised)
            except MemoryError:
                if not by_system:
                    raise
                past = _TooLarge
            finally:
                self._left -= time.monotonic() - begun
                if watch.ident is not None:
                    watch.join()
        raise too_large(self._name, self._memory_mb) if past is _TooLarge else too_slow(self._name, self._seconds)

    def _watch(self, thread: int, done: threading.Event, until: float) -> None:
        most = _resident() + (self._memory_mb << 20)
        while not done.wait(min(_LOOK, max(until - time.monotonic(), 0))):
            past = _TooSlow if time.monotonic() >= until else _TooLarge if _resident() > most else None
            if past is not None:
                with self._lock:
                    if self._working:
                        self._raised = True
                        interrupt(thread, past)
                return


def _resident() -> int:
    """Bytes of memory that this process holds and no file backs; 0 on a system that does not say."""
    if not sys.platform.startswith("linux"):
        return 0
    status = Path("/proc/self/status").read_bytes()
    _, found, rest = status.partition(b"\nRssAnon:")
    return int(rest.split(maxsplit=1)[0]) << 10 if found else 0


_nesting = threading.Lock()
_inside = 0
_before: tuple[int, int] = (0, 0)


@contextmanager
def growth_bounded(most: int) -> Iterator[bool]:
    """Bounds what memory this process may take beyond what it has now: an allocation that passes the bound fails.

    most: bytes of data, heaps and stacks, mapped files apart. The bound is that of the whole process; of several at a
    time the first counts. Yields False on a system that has no such bound.
    """
    global _inside, _before
    if not sys.platform.startswith("linux"):
        yield False
        return
    import resource

    with _nesting:
        if not _inside:
            _before = resource.getrlimit(resource.RLIMIT_DATA)
            wanted = int(Path("/proc/self/statm").read_bytes().split()[5]) * resource.getpagesize() + most
            soft = wanted if _before[0] == resource.RLIM_INFINITY else min(wanted, _before[0])
            resource.setrlimit(resource.RLIMIT_DATA, (soft, _before[1]))
        _inside += 1
    try:
        yield True
    finally:
        with _nesting:
            _inside -= 1
            if not _inside:
                resource.setrlimit(resource.RLIMIT_DATA, _before)
