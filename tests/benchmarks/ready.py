"""Readiness of fully swept links against bare pyarrow and numpy over the same files of curves.

"numpy": reads the curves of the parameters that the application has a line for and finds the smallest distance of each
from the line; "reading": only reads these columns, with their page checksums. All in one process, taking turns; what is
compared is processor time.
"""

from __future__ import annotations

import os
import statistics
import tempfile
import time
from pathlib import Path
from typing import Any

import numpy as np
import pyarrow.parquet as pq

from archive import limits, vocabulary
from archive.answers.rates.readiness import readiness
from archive.store import Archive
from tests.benchmarks._timed import peak
from tests.benchmarks.distributions import built, columns

APPLICATION = "10gbase-t"


def run(sizes: tuple[int, ...], quick: bool) -> list[dict[str, Any]]:
    """Rows by number of links: the sizes to 5,000, and 100,000 with --large."""
    wanted = (48,) if quick else sizes[:-1] if len(sizes) > 2 else sizes
    rows = []
    kept = os.environ.get("MUNIMENT_CACHE")
    for links in wanted:
        with tempfile.TemporaryDirectory() as folder:
            os.environ["MUNIMENT_CACHE"] = f"{folder}/cache"
            try:
                rows.append(measured(built(Path(folder) / "archive", links), links, 1 if quick else 3))
            finally:
                os.environ.pop("MUNIMENT_CACHE") if kept is None else os.environ.update(MUNIMENT_CACHE=kept)
    return rows


def measured(archive: Archive, links: int, rounds: int) -> dict[str, Any]:
    """One archive."""
    files = sorted(archive.root.glob("deposits/*/*/data/tables/sweeps-*.parquet"))
    limit = limits.get(f"ieee-802.3/{APPLICATION}")
    there = {p for path in files for p in pq.read_table(path, columns=["parameter"])["parameter"].unique().to_pylist()}
    stored = [p for p in limit.lines if p in there]

    def ours() -> Any:
        (row,) = readiness(archive, [APPLICATION]).rows
        return row["links"]

    def bare() -> Any:
        for parameter in stored:
            line, sense = limit.line(parameter), vocabulary.parameter(parameter).sense
            for curves in columns(files, parameter):
                at = np.full(curves.shape[1], 0.0) if line is None else line.at(np.linspace(1, 500, curves.shape[1]))
                away = at - curves / 10 if sense == "max" else curves / 10 - at
                np.nanmin(away, axis=1)
        return links

    def reading() -> Any:
        return sum(len(c) for p in stored for c in columns(files, p)) and links

    spent: dict[str, list[float]] = {"ours": [], "numpy": [], "reading": []}
    made: dict[str, Any] = {}
    for _ in range(rounds + (rounds > 1)):
        for name, function in (("ours", ours), ("numpy", bare), ("reading", reading)):
            began = time.process_time()
            made[name] = function()
            spent[name].append(time.process_time() - began)
    took = {name: statistics.median(s[1:] or s) for name, s in spent.items()}
    return {
        "what": "readiness",
        "links": links,
        "agrees": made["ours"] == made["numpy"] == made["reading"],
        "parameters": len(stored),
        "ours_cpu_s": took["ours"],
        "to_numpy": took["ours"] / took["numpy"],
        "to_reading": took["ours"] / took["reading"],
        "peak_gb": peak() / 1e9,
    }
