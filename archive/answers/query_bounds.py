"""Bounds of memory and time for one query, so that one that never ends costs itself alone."""

from __future__ import annotations

import sys
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from archive.errors import Trouble

THREADS = 8
"""Most threads of one query."""

_BESIDE_MB = 1024
"""Address space beside that of the query: stacks and heaps of threads, and the rows on their way out."""


@dataclass(frozen=True)
class QueryBounds:
    """memory_mb: megabytes (10^6 bytes) that a query may hold; seconds: that it may run, handing out its rows too."""

    memory_mb: int = 4096
    seconds: float = 300.0

    def too_large(self) -> Trouble:
        """What is said of a query that reached the bound of memory."""
        return Trouble(
            "the query takes more memory than it may",
            code="sql.memory",
            where="the SQL",
            found=f"more than {self.memory_mb:,} MB",
            remedy="ask for less, or allow more with --memory",
        )

    def too_slow(self) -> Trouble:
        """What is said of a query that reached the bound of time."""
        return Trouble(
            "the query takes more time than it may",
            code="sql.time",
            where="the SQL",
            found=f"more than {self.seconds:g} seconds",
            remedy="ask for less, or allow more with --time",
        )


@contextmanager
def address_space(bounds: QueryBounds) -> Iterator[None]:
    """Bounds the address space of this process meanwhile: DuckDB counts tables and sorts, but no single long text.

    For a process of one query: all that this process does is bounded. Does nothing on a system that has no such bound.
    Errors: Trouble where memory runs out.
    """
    try:
        if not sys.platform.startswith("linux"):
            yield
            return
        import resource

        before = resource.getrlimit(resource.RLIMIT_AS)
        now = int(Path("/proc/self/statm").read_text("ascii").split()[0]) * resource.getpagesize()
        wanted = now + (bounds.memory_mb + _BESIDE_MB) * 1_000_000
        soft = wanted if before[0] == resource.RLIM_INFINITY else min(wanted, before[0])
        resource.setrlimit(resource.RLIMIT_AS, (soft, before[1]))
        try:
            yield
        finally:
            resource.setrlimit(resource.RLIMIT_AS, before)
    except MemoryError:
        raise bounds.too_large() from None
