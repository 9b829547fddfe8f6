"""Reading a network-analyser file: ours against scikit-rf, and against the bare parsing of its numbers.

The file is invented (four pairs at both ends, 16 ports). Ratios of medians in one run; no time decides anything.
"""

from __future__ import annotations

import statistics
import tempfile
import time
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

import numpy as np

from archive.formats.touchstone.parse import parse
from tests.formats.touchstone_files import invented, text

POINTS = (101, 401, 1601)


def run(sizes: Sequence[int] = (), quick: bool = False) -> list[dict[str, Any]]:
    """One row per number of points: how many times faster than scikit-rf, and how many times slower than numpy alone.

    sizes: numbers of frequencies, POINTS where empty; quick: one small file, read once.
    """
    import skrf

    rows = []
    for points in (11,) if quick else tuple(sizes) or POINTS:
        f = np.linspace(1.0, 500.0, points)
        written = text(invented(4, f), f, comments=False)
        body = written.split("\n", 1)[1]
        with tempfile.TemporaryDirectory() as folder:
            path = Path(folder) / "a.s16p"
            path.write_text(written)

            def ours(path: Path = path) -> Any:
                return parse(path.read_bytes(), path.name).s

            def theirs(path: Path = path) -> Any:
                return skrf.Network(str(path)).s

            def bare(body: str = body) -> Any:
                return np.fromstring(body, sep=" ")

            times = [_median(work, 1 if quick else 5) for work in (ours, theirs, bare)]
            agree = bool(np.allclose(ours(), theirs(), rtol=1e-12, atol=1e-14))
        rows.append(
            {
                "benchmark": "read a network-analyser file",
                "points": points,
                "bytes": len(written),
                "peer": f"scikit-rf {skrf.__version__}",
                "times_faster_than_peer": times[1] / times[0],
                "limit": "numpy.fromstring of the same numbers",
                "share_of_limit": times[2] / times[0],
                "agree": agree,
            }
        )
    return rows


def _median(work: Callable[[], Any], runs: int) -> float:
    work()
    taken = []
    for _ in range(runs):
        begin = time.perf_counter()
        work()
        taken.append(time.perf_counter() - begin)
    return statistics.median(taken)


if __name__ == "__main__":
    for row in run():
        print(row)
