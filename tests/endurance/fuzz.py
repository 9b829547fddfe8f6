"""Real fixtures, changed at random, for each reader: whatever comes of it is read, set aside, or told in one line.

    python -m tests.endurance fuzz [READER...] [--seconds 300] [--case N]

A case is a number: the same number changes the same fixture in the same way. Cases run in a process of their own, so
that one that hangs, dies, or takes more than its memory is found and named, and the next one goes on.
"""

from __future__ import annotations

import multiprocessing
import os
import random
import resource
import tempfile
import time
import traceback
import warnings
from collections import Counter
from functools import cache
from multiprocessing.connection import Connection
from pathlib import Path
from typing import Any

from archive import schemas
from archive.confined import MEMORY, SECONDS
from archive.errors import Trouble
from tests.endurance import fuzz_packings, fuzz_specimens, fuzz_traces
from tests.endurance.fuzz_changes import changed
from tests.endurance.fuzz_specimens import Specimen

FIXTURES = schemas.root().parent / "fixtures"
LARGEST = 3_000_000
"""Bytes of a changed file, at most."""
SLOW, HANGS = 20.0, 240.0
"""Seconds of processor time, and by the clock, that a case may take: no changed file is larger than LARGEST."""


READERS = {**fuzz_specimens.READERS, **fuzz_packings.READERS, **fuzz_traces.READERS}
"""Fixtures of each reader; `drafts` are exports for which no mapping is named."""


@cache
def specimens(reader: str) -> list[Specimen]:
    """The fixtures of a reader; there are some."""
    found = list(READERS[reader]())
    assert found
    return found


def run(reader: str, number: int, folder: Path) -> str:
    """One case in an empty folder: read, set aside or trouble. Anything else that is raised is a bug."""
    draw = random.Random(f"{reader} {number}")
    one = draw.choice(specimens(reader))
    victim = draw.choice(one.victims)
    data = (changed if draw.random() < 0.3 else one.change)(one.files[victim], draw)
    handed_in = folder / "in"
    for name, held in {**one.files, victim: data}.items():
        path = handed_in / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.resolve().write_bytes(held)
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("error", RuntimeWarning)  # of a library: a person would see it
            return "set aside" if one.read(handed_in) else "read"
    except Trouble as trouble:
        assert trouble.code
        assert "\n" not in str(trouble)
        return "trouble"


def _work(pipe: Connection) -> None:
    """Runs cases as they are asked for: how it ended, seconds of processor time, and what was raised."""
    os.environ.update({MEMORY: "1500", SECONDS: "60", "MUNIMENT_TRACEBACK": "1"})
    resource.setrlimit(resource.RLIMIT_AS, (12 << 30, 12 << 30))
    while True:
        reader, number = pipe.recv()
        begun, raised = time.process_time(), ""
        with tempfile.TemporaryDirectory(prefix="muniment-fuzz-") as folder:
            try:
                ended = run(reader, number, Path(folder))
            except Exception:  # noqa: BLE001 - what it is looked for
                ended, raised = "fault", traceback.format_exc()
        taken = time.process_time() - begun
        pipe.send(("slow" if taken > SLOW and not raised else ended, taken, raised))


class _Worker:
    def __init__(self) -> None:
        context = multiprocessing.get_context("spawn")
        self.pipe, other = context.Pipe()
        self.process = context.Process(target=_work, args=(other,), daemon=False)
        self.process.start()
        other.close()

    def ask(self, reader: str, number: int) -> tuple[str, float, str]:
        try:
            self.pipe.send((reader, number))
            if self.pipe.poll(HANGS):
                answer: tuple[str, float, str] = self.pipe.recv()
                return answer
        except (EOFError, OSError):
            return "died", 0.0, f"the process ended with {self.process.exitcode}"
        return "hang", HANGS, ""

    def end(self) -> None:
        self.process.kill()
        self.process.join()


def fuzz(reader: str, seconds: float, first: int = 0, most: int | None = None) -> dict[str, Any]:
    """Cases of one reader, one after the other from a number on, for so long or so many. Names each that is a find."""
    counts: Counter[str] = Counter()
    finds: list[str] = []
    longest = 0.0
    worker, until, number = _Worker(), time.monotonic() + seconds, first
    while time.monotonic() < until and (most is None or number - first < most):
        ended, taken, raised = worker.ask(reader, number)
        counts[ended] += 1
        longest = max(longest, taken)
        if ended in ("fault", "slow", "hang", "died"):
            finds.append(f"{ended}, {reader} --case {number}\n{raised}")
            print(finds[-1], flush=True)
        if ended in ("hang", "died"):
            worker.end()
            worker = _Worker()
        number += 1
    worker.end()
    kinds = ("read", "set aside", "trouble", "fault", "slow", "hang", "died")
    return {
        "run": f"fuzz, {reader}",
        "cases": counts.total(),
        **{kind: counts[kind] for kind in kinds},
        "longest": round(longest, 1),
    }
