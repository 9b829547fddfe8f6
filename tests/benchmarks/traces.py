"""A folder of optical traces read, graded and deposited: ours against an independent parser that only reads them.

The traces are invented (the demo's writer), each with noise of its own. Depositing is the whole of `muniment deposit`
in a process of its own, the start of the program included. Ratios of processor times in one run; times decide nothing.
The last row is the picture of one trace against the figure that is wanted.
"""

from __future__ import annotations

import io
import json
import os
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np

from archive import formats, grading
from archive.answers.plots.trace_picture import DrawnEvent, DrawnTrace, trace_picture
from archive.demo.backbone.trace_bytes import TraceContent, WrittenEvent, trace_file
from archive.demo.backbone.trace_shape import levels

FILES = 1000
_ROOT = Path(__file__).resolve().parents[2]
_EVENTS = (WrittenEvent(0.0, 0.0, -45.0, "1F9999"), WrittenEvent(1.0, 0.3, -48.0, "1F9999", 0.33),
           WrittenEvent(5.3, 0.0, -14.0, "1E9999", 0.33))  # fmt: skip


def run(sizes: Sequence[int] = (), quick: bool = False) -> list[dict[str, Any]]:
    """Two rows per number of files and one for the picture. sizes: numbers of files, FILES where empty; quick: three
    files, read once."""
    shape = levels(_EVENTS, 0.33, point_m=0.5, pulse_ns=30, index=1.468, seed=1)
    rows = []
    for count in (3,) if quick else tuple(sizes) or (FILES,):
        with tempfile.TemporaryDirectory(prefix="muniment-bench-") as name:
            folder = Path(name) / "traces"
            _write(folder, shape, count)
            rows += _folder(folder, Path(name), count, 1 if quick else 3)
    return [{**row, "points": len(shape)} for row in rows] + [_picture(shape, 1 if quick else 20)]


def _write(folder: Path, shape: Any, count: int) -> None:
    folder.mkdir()
    noise = np.random.default_rng(0)
    for number in range(count):
        own = shape + noise.normal(0, 0.01, len(shape))
        content = TraceContent(fiber_id=f"B-{number}", levels_db=own, events=_EVENTS)
        (folder / f"{number}.sor").write_bytes(trace_file(replace(content, time_unix_s=1_600_000_000 + number)))


def _folder(folder: Path, beside: Path, count: int, repeats: int) -> list[dict[str, Any]]:
    import otdrparser

    def ours() -> int:
        return sum(len(grading.grade(batch)) for batch in formats.read_all([folder]))

    def theirs() -> int:
        return sum(bool(otdrparser.parse(io.BytesIO(p.read_bytes()))) for p in sorted(folder.iterdir()))

    agree = ours() == theirs() == count
    deposits, ours_s, theirs_s = [], [], []
    for number in range(repeats + (repeats > 1)):  # the first of several fills caches and is not counted
        deposits.append(_deposited(folder, beside, number))
        ours_s.append(_taken(ours))
        theirs_s.append(_taken(theirs))
    peer = statistics.median(theirs_s)
    said = {"files": count, "peer": "otdrparser, reading alone", "agree": agree}
    share = peer / statistics.median(ours_s)
    whole = peer / statistics.median(d["cpu"] for d in deposits[repeats > 1 :])
    return [
        {"benchmark": "read and grade optical traces", **said, "share_of_peer": share},
        {"benchmark": "read, grade and deposit optical traces", **said, "share_of_peer": whole},
    ]


def _deposited(folder: Path, beside: Path, number: int) -> dict[str, float]:
    """Processor time, s, and peak of memory of `muniment deposit`."""
    archive, cache = beside / f"archive{number}", beside / f"cache{number}"
    own = {"MUNIMENT_CACHE": str(cache), "MUNIMENT_CONFIG": str(cache), "PYTHONPYCACHEPREFIX": str(beside / "compiled")}
    environment = {k: v for k, v in os.environ.items() if k != "PYTHONDONTWRITEBYTECODE"} | own
    command = [sys.executable, "-m", "tests.benchmarks._timed"]

    def run(*words: str) -> str:
        asked = [*command, *words]
        return subprocess.run(asked, cwd=_ROOT, env=environment, check=True, capture_output=True, text=True).stderr

    run("init", str(archive))
    said = run("deposit", str(folder), "--into", str(archive), "--job", "J", "-q")
    found: dict[str, float] = json.loads(said.splitlines()[-1])
    return found


def _picture(shape: Any, repeats: int) -> dict[str, Any]:
    """Milliseconds of processor time for the picture of four traces with their events."""
    km = np.arange(len(shape)) * 0.0005
    traces = [DrawnTrace(f"{nm} nm", km, -shape) for nm in (1310, 1550, 1625, 1383)]
    events = [DrawnEvent(e.km, str(n), e.reflectance_db < 0) for n, e in enumerate(_EVENTS, start=1)]
    work = lambda: trace_picture(traces, events, title="traces", labels=("km", "dB"))  # noqa: E731
    work()
    took = statistics.median(_taken(work) for _ in range(repeats))
    return {"benchmark": "picture of a trace", "points": len(shape), "traces": len(traces),
            "ms": round(took * 1000, 1), "target": "under 50 ms", "agree": work().startswith("<svg")}  # fmt: skip


def _taken(work: Callable[[], Any]) -> float:
    begun = time.process_time()
    work()
    return time.process_time() - begun
