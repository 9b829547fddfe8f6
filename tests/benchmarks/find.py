"""The records of one link out of a large archive, as a whole command, against bare DuckDB and bare SQLite.

Ours is `muniment find --link` as a person types it: a fresh process, imports, the archive opened, the ledger looked at
for news, the database asked. DuckDB is a fresh process too, with one question to one Parquet file of the same records
sorted by label; SQLite one with one table and one index, and no archive behind it: the floor. They take turns, several
links each and all sizes of the archive, and must find the same records. Half of the bags have fewer than ten records.
Invented data.
"""

from __future__ import annotations

import json
import math
import os
import sqlite3
import statistics
import subprocess
import sys
import tempfile
import time
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pyarrow as pa
import pyarrow.parquet as pq

from tests.benchmarks._tiled import tiled

COLUMNS = ("record_id", "link_label", "job_id", "site", "tested_local", "limit_id", "verdict", "margin", "length_m")
RECORDS_PER_BAG = 200
LINKS, ROUNDS = 5, 5

DUCKDB = f"""
import duckdb, json, sys
asked = "SELECT {", ".join(COLUMNS)} FROM read_parquet(?) WHERE link_label = ? ORDER BY tested_local DESC"
print(json.dumps(duckdb.execute(asked, sys.argv[1:]).fetchall()))
"""
SQLITE = f"""
import json, sqlite3, sys
asked = "SELECT {", ".join(COLUMNS)} FROM records WHERE link_label = ? ORDER BY tested_local DESC"
print(json.dumps(sqlite3.connect(sys.argv[1]).execute(asked, sys.argv[2:]).fetchall()))
"""
OURS = [sys.executable, "-c", "from archive.cli import main; main()", "find"]


def run(sizes: tuple[int, ...], quick: bool) -> list[dict[str, Any]]:
    """A row per size with what a question took, and one on growth. 1,000,000 records only with --large."""
    largest = 1_000_000 if max(sizes) >= 1_000_000 else 100_000
    counts = (2_000,) if quick else (10_000, 100_000, 1_000_000)
    with tempfile.TemporaryDirectory(prefix="muniment-bench-") as name:
        made = [built(Path(name) / str(n), n) for n in counts if n <= largest]
        found = asked([m for m, _ in made], 1 if quick else ROUNDS)
    rows = [*(row for _, row in made), *found]
    return [*rows, growth(found[0], found[-1])] if len(found) > 1 else rows


@dataclass(frozen=True)
class Made:
    """An archive with the files of the peers beside it, and the labels that are asked for."""

    folder: Path
    records: int
    labels: list[str]

    @property
    def environment(self) -> dict[str, str]:
        """With a cache of its own."""
        cache = str(self.folder / "cache")
        return {**os.environ, "MUNIMENT_CACHE": cache, "MUNIMENT_CONFIG": cache}

    def commands(self, label: str) -> dict[str, list[str]]:
        """One question, as each asks it."""
        return {
            "ours": [*OURS, str(self.folder / "archive"), "--link", label, "--json"],
            "duckdb": [sys.executable, "-c", DUCKDB, str(self.folder / "one.parquet"), label],
            "sqlite": [sys.executable, "-c", SQLITE, str(self.folder / "one.sqlite"), label],
        }


def growth(small: dict[str, Any], large: dict[str, Any]) -> dict[str, Any]:
    """How much longer a question takes in the larger archive, against how the logarithm of its size grows."""
    return {
        "what": "growth of find",
        "records": large["records"],
        "times": round(large["ours_ms"] / small["ours_ms"], 3),
        "log_n": round(math.log(large["records"]) / math.log(small["records"]), 3),
        "target": "times at most log_n",
    }


def built(folder: Path, records: int) -> tuple[Made, dict[str, Any]]:
    """Builds the archive and the peers' files, and rebuilds its index: what was built, and a row on the index."""
    folder.mkdir()
    path, bags = folder / "archive", records // RECORDS_PER_BAG
    tiled(path, records, bags)
    command = [sys.executable, "-m", "tests.benchmarks._timed", "reindex", str(path), "--json"]
    began = time.perf_counter()
    done = _process(command, Made(folder, records, []).environment)
    minutes = (time.perf_counter() - began) / 60
    used = json.loads(done.stderr.strip().splitlines()[-1])
    labels = _one_file(path, folder)["link_label"].to_pylist()
    row = {
        "what": "reindex",
        "records": json.loads(done.stdout)["records"],
        "bags": bags,
        "minutes": round(minutes, 2),
        "cpu_minutes": round(used["cpu"] / 60, 2),
        "peak_gb": round(used["peak"] / 1e9, 2),
        "target": "10 minutes and 2 GB for 1,000,000",
    }
    return Made(folder, len(labels), [labels[len(labels) * (2 * n + 1) // (2 * LINKS)] for n in range(LINKS)]), row


def asked(made: Sequence[Made], rounds: int) -> list[dict[str, Any]]:
    """A row for each archive. All of them take turns, so that a busy moment of the machine falls on all alike."""
    spent: dict[tuple[int, str], list[float]] = defaultdict(list)
    agree = dict.fromkeys((m.records for m in made), True)
    for n in range(rounds + (rounds > 1)):
        for at in range(LINKS):
            for one in made:
                found = {}
                for name, command in one.commands(one.labels[at]).items():
                    began = time.perf_counter()
                    said = json.loads(_process(command, one.environment).stdout)
                    if n or rounds == 1:  # the first round warms the cache of files
                        spent[one.records, name].append((time.perf_counter() - began) * 1e3)
                    ids = [r["record"] for r in said["records"]] if name == "ours" else [r[0] for r in said]
                    found[name] = sorted(ids)
                agree[one.records] &= found["ours"] == found["duckdb"] == found["sqlite"] and bool(found["ours"])
    return [_row(m.records, {n: spent[m.records, n] for n in ("ours", "duckdb", "sqlite")}, agree) for m in made]


def _row(records: int, spent: dict[str, list[float]], agree: dict[int, bool]) -> dict[str, Any]:
    took = {name: statistics.median(times) for name, times in spent.items()}
    return {
        "what": "find",
        "records": records,
        **{f"{name}_ms": round(ms, 1) for name, ms in took.items()},
        "ours_to_duckdb": round(took["ours"] / took["duckdb"], 3),
        "ours_to_sqlite": round(took["ours"] / took["sqlite"], 3),
        "target": "below 1 of DuckDB",
        "agree": agree[records],
    }


def _one_file(path: Path, folder: Path) -> Any:
    """Every record in one Parquet file sorted by label, and in one SQLite table with an index; gives the table."""
    parts = [pq.read_table(p, columns=list(COLUMNS)) for p in sorted(path.glob("deposits/*/*/data/index.parquet"))]
    one = pa.concat_tables(parts).sort_by("link_label")
    pq.write_table(one, folder / "one.parquet", compression="zstd")
    with sqlite3.connect(folder / "one.sqlite") as db:
        db.execute(f"CREATE TABLE records ({', '.join(COLUMNS)})")
        marks = ", ".join("?" * len(COLUMNS))
        for batch in one.to_batches():
            rows = zip(*(column.to_pylist() for column in batch.columns), strict=True)
            db.executemany(f"INSERT INTO records VALUES ({marks})", rows)
        db.execute("CREATE INDEX by_label ON records (link_label)")
    db.close()
    return one


def _process(command: list[str], environment: dict[str, str]) -> subprocess.CompletedProcess[str]:
    done = subprocess.run(
        command, env=environment, cwd=Path(__file__).resolve().parents[2], capture_output=True, text=True, check=False
    )
    if done.returncode not in (0, 1):
        raise RuntimeError(done.stderr)
    return done
