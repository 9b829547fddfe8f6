"""A folder of optical traces read and graded: ours against an independent parser that only reads them.

The traces are invented (the demo's writer). Ratios of processor times in one run; no time decides anything.
"""

from __future__ import annotations

import io
import statistics
import tempfile
import time
from collections.abc import Callable, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

from archive import formats, grading
from archive.demo.backbone.trace_bytes import TraceContent, WrittenEvent, trace_file
from archive.demo.backbone.trace_shape import levels

FILES = 200


def run(sizes: Sequence[int] = (), quick: bool = False) -> list[dict[str, Any]]:
    """One row per number of files. sizes: numbers of files, FILES where empty; quick: three files, read once."""
    import otdrparser

    events = (WrittenEvent(0.0, 0.0, -45.0, "1F9999"), WrittenEvent(1.0, 0.3, -48.0, "1F9999", 0.33),
              WrittenEvent(5.3, 0.0, -14.0, "1E9999", 0.33))  # fmt: skip
    shape = levels(events, 0.33, point_m=0.5, pulse_ns=30, index=1.468, seed=1)
    rows = []
    for count in (3,) if quick else tuple(sizes) or (FILES,):
        with tempfile.TemporaryDirectory() as name:
            folder = Path(name)
            for number in range(count):
                content = TraceContent(fiber_id=f"B-{number}", levels_db=shape, events=events)
                (folder / f"{number}.sor").write_bytes(trace_file(replace(content, time_unix_s=1_600_000_000 + number)))

            def ours(folder: Path = folder) -> int:
                return sum(len(grading.grade(batch)) for batch in formats.read_all([folder]))

            def theirs(folder: Path = folder) -> int:
                return sum(bool(otdrparser.parse(io.BytesIO(p.read_bytes()))) for p in sorted(folder.iterdir()))

            times = [_median(work, 1 if quick else 3) for work in (ours, theirs)]
            agree = ours() == theirs() == count
        rows.append(
            {
                "benchmark": "read and grade optical traces",
                "files": count,
                "points": len(shape),
                "peer": "otdrparser, reading alone",
                "share_of_peer": times[1] / times[0],
                "agree": agree,
            }
        )
    return rows


def _median(work: Callable[[], Any], times: int) -> float:
    found = []
    for _ in range(times):
        begun = time.process_time()
        work()
        found.append(time.process_time() - begun)
    return statistics.median(found)
