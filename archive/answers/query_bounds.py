"""Bounds of memory and time for one query, so that one that never ends costs itself alone."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass

from archive.bounds import growth_bounded
from archive.errors import Trouble

THREADS = 8
"""Most threads of one query."""

_BESIDE_MB = 1024
"""Memory beside that of the query: stacks and heaps of threads, and the rows on their way out."""


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
def memory_bounded(bounds: QueryBounds) -> Iterator[None]:
    """Bounds the memory of this process meanwhile: DuckDB counts tables and sorts, but no single long text.

    For a process of one query: all that this process does is bounded. Does nothing on a system that has no such bound.
    Errors: Trouble where memory runs out.
    """
    try:
        with growth_bounded((bounds.memory_mb + _BESIDE_MB) * 1_000_000):
            yield
    except MemoryError:
        raise bounds.too_large() from None
