"""Distributions per frequency against bare pyarrow and numpy over the same files of curves.

"numpy": reads the column of the one parameter, lays the curves side by side and asks numpy for the three quantiles;
"reading": only reads that column, with its page checksums. All in one process, warmed, taking turns.
"""

from __future__ import annotations

import os
import resource
import statistics
import sys
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pyarrow.parquet as pq

from archive import store
from archive.answers.rates.distributions import CurveChoice, distribution
from archive.demo.simulator import simulate
from archive.store import Archive
from archive.store.deposits import Deposit, DepositFacts
from tests.benchmarks._tiled import unsynced

PARAMETERS = ("next", "insertion_loss", "fext")
SHARES = (0.05, 0.5, 0.95)


def run(sizes: tuple[int, ...], quick: bool) -> list[dict[str, Any]]:
    """Rows by number of links and parameter."""
    rounds = 1 if quick else 5
    wanted = (48,) if quick else [min(n, 5_000) for n in sizes if n <= 5_000] or [2_000]
    rows = []
    kept = os.environ.get("MUNIMENT_CACHE")
    for links in wanted:
        with tempfile.TemporaryDirectory() as folder:
            os.environ["MUNIMENT_CACHE"] = f"{folder}/cache"
            try:
                archive = built(Path(folder) / "archive", links)
                rows += [measured(archive, p, links, rounds) for p in PARAMETERS]
            finally:
                os.environ.pop("MUNIMENT_CACHE") if kept is None else os.environ.update(MUNIMENT_CACHE=kept)
    return rows


def built(path: Path, links: int) -> Archive:
    """An archive of fully swept links, none of which shares its label with another."""
    with unsynced():
        archive = store.create(path)
        making = Deposit(archive, DepositFacts(site=None))
        for n, batch in enumerate(simulate(links, 1, readings=False)):
            records = batch["records"]
            labels = [f"{n}-{i}" for i in range(len(batch))]
            at = records.column_names.index("link_label")
            making.add(batch.replace(records=records.set_column(at, records.schema.field(at), [labels])))
        making.commit()
    return archive


def measured(archive: Archive, parameter: str, links: int, rounds: int) -> dict[str, Any]:
    """One parameter."""
    files = sorted(archive.root.glob("deposits/*/*/data/tables/sweeps-*.parquet"))

    def ours() -> Any:
        (spread,) = distribution(archive, CurveChoice(parameter)).spreads
        return np.stack([spread.low, spread.median, spread.high])

    def bare() -> Any:
        whole = np.concatenate(list(columns(files, parameter)))
        return np.quantile(whole / 10, SHARES, axis=0)

    def reading() -> Any:
        return sum(len(c) for c in columns(files, parameter))

    spent: dict[str, list[float]] = {"ours": [], "numpy": [], "reading": []}
    made: dict[str, Any] = {}
    for _ in range(rounds + (rounds > 1)):
        for name, function in (("ours", ours), ("numpy", bare), ("reading", reading)):
            began = time.perf_counter()
            made[name] = function()
            spent[name].append(time.perf_counter() - began)
    took = {name: statistics.median(s[1:] or s) for name, s in spent.items()}
    return {
        "what": "distribution",
        "parameter": parameter,
        "links": links,
        "agrees": bool(np.allclose(made["ours"], made["numpy"], atol=1e-9)),
        "ours_s": took["ours"],
        "to_numpy": took["ours"] / took["numpy"],
        "to_reading": took["ours"] / took["reading"],
        "peak_gb": resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / (1e9 if sys.platform == "darwin" else 1e6),
    }


def columns(files: list[Path], parameter: str) -> Iterator[Any]:
    """The curves of one parameter, (curves, points), as the integers that the files hold, file after file."""
    for path in files:
        file = pq.ParquetFile(path, page_checksum_verification=True)
        place = file.schema_arrow.names.index("parameter")
        wanted = [
            g
            for g in range(file.metadata.num_row_groups)
            if file.metadata.row_group(g).column(place).statistics.min == parameter
        ]
        lists = file.read_row_groups(wanted, columns=["scaled"], use_threads=False)["scaled"].combine_chunks()
        yield lists.flatten().to_numpy().reshape(len(lists), -1)
