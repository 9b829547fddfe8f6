"""The hand-over book: time against what was set for 1,000 links on two cores, memory, size of the largest file.

Set: without curves 30 s, with curves 8 minutes, 1.5 GB of memory, no file over 40 MB. The whole command runs in a
process of its own, imports included; memory is its own peak and that of the typesetter that it starts, added up.
Links come from the seeded simulator (48 measured curves of 1,028 points).
"""

from __future__ import annotations

import json
import resource
import subprocess
import sys
import tempfile
import time
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from tests.benchmarks._archive import JOB, archive_of

SET = {"without curves": 30.0, "with curves": 480.0}
MOST_MEMORY, MOST_BYTES, LINKS = 1.5e9, 40_000_000, 1_000


def run(sizes: Sequence[int], quick: bool) -> list[dict[str, Any]]:
    """A row for each way: share of the time that was set (for as many links), of the memory, of the size."""
    links = 4 if quick else LINKS
    rows = []
    with tempfile.TemporaryDirectory() as name:
        place = Path(name)
        archive_of(place / "archive", links)
        for way, seconds in SET.items():
            sections = "summary,open-points,schedule,results,findings,proof" + (",curves" if "with " in way else "")
            command = ["book", str(place / "archive"), "--job", JOB, "--out", str(place / way), "--with", sections]
            began = time.perf_counter()
            done = subprocess.run(
                [sys.executable, "-m", "tests.benchmarks._timed", *command, "--json"],
                capture_output=True,
                text=True,
                check=True,
            )
            took = time.perf_counter() - began
            named = json.loads(done.stdout)["files"]
            files = [(place / way / name).stat().st_size for name in named]
            rows.append(
                {
                    "what": way,
                    "links": links,
                    "seconds": round(took, 1),
                    "of the time set": took / (seconds * links / LINKS),
                    "of the memory set": (json.loads(done.stderr.splitlines()[-1])["peak"] + _largest()) / MOST_MEMORY,
                    "of the size set": max(files) / MOST_BYTES,
                    "files": len(files),
                }
            )
    return rows


def _largest() -> int:
    """Bytes of the largest process so far that one of ours started: at least that of the typesetter."""
    used = resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss
    return used if sys.platform == "darwin" else used * 1024
