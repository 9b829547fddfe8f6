"""What test_confined lets a process do, for better or worse."""

from __future__ import annotations

import datetime
import os
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from archive.errors import Trouble


def values(count: int, *more: Any) -> Iterator[Any]:
    """Some numbers, and the arguments."""
    yield from range(count)
    yield [*more]


def day() -> Iterator[Any]:
    """A date and a time."""
    yield [datetime.date(2019, 3, 4), datetime.datetime(2019, 3, 4, 10, 15)]


def trouble() -> Iterator[int]:
    """One value, then a Trouble."""
    yield 1
    raise Trouble("is damaged", code="test.damaged", where="a.xls", found="x", expected="y", remedy="copy it again")


def abort() -> Iterator[int]:
    """Ends as a native library does that aborts."""
    yield 1
    os.abort()


def panic() -> Iterator[int]:
    """Raises what is no Exception, as a native library does that panics."""

    class PanicException(BaseException):
        pass

    yield 1
    raise PanicException("range end index 2 out of range")


def hog() -> Iterator[int]:
    """Takes all memory."""
    held = []
    while True:
        held.append(bytearray(50_000_000))
        yield len(held)


def sleep() -> Iterator[int]:
    """Never ends."""
    while True:
        time.sleep(0.05)
    yield 1


def hostile() -> Iterator[Any]:
    """An answer that would do something where it is read."""
    yield Path("/")


def pid() -> Iterator[int]:
    """Number of the process."""
    yield os.getpid()


def chatter() -> Iterator[int]:
    """Prints, as libraries do."""
    print("a library says something", flush=True)
    yield 7
