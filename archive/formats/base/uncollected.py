"""No search for cyclic rubbish while many small objects are made that hold none, such as the cells of a sheet."""

from __future__ import annotations

import gc
from collections.abc import Iterator
from contextlib import contextmanager


@contextmanager
def uncollected() -> Iterator[None]:
    """Within it the collector rests: it would look at every cell again and again, a quarter of the reading time."""
    running = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if running:
            gc.enable()
