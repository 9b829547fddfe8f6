"""Times of several works, taken in turn in one process, so that what else the machine does falls on all of them."""

from __future__ import annotations

import gc
import statistics
import time
from collections.abc import Callable
from typing import Any


def medians(runs: int, *works: Callable[[], Any]) -> list[float]:
    """Median seconds of each work over `runs` rounds; each is done once before, to be warm, where runs is over 1."""
    taken: list[list[float]] = [[] for _ in works]
    for number in range(runs + (runs > 1)):
        for work, times in zip(works, taken, strict=True):
            gc.collect()
            began = time.perf_counter()
            result = work()
            times.append(time.perf_counter() - began)
            del result
            if number == 0 and runs > 1:
                times.clear()
    return [statistics.median(t) for t in taken]
