"""Depositing fully swept links from the open CSV: ours against bare parsing plus bare Parquet writing of the same file.

Ours is the whole of `muniment deposit`: reading with every check of the open form, rules, grading, digests of every
record, dedup, curves in lossless integers, originals packed, every file digested and synced, the ledger entry.
The limit parses the CSV with pyarrow, turns the lists of numbers into doubles with Arrow's own split and cast (the
fastest of three ways that were tried), and writes one Parquet file with zstd: what a person would write who wants only
the numbers. Both ends are checked to hold the same numbers.
Links come from the seeded simulator: 48 curves of 1,028 points at 0.1 dB.
"""

from __future__ import annotations

import json
import os
import shutil
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import pyarrow as pa
import pyarrow.compute as pc
import pyarrow.csv
import pyarrow.parquet as pq

from archive import formats, store
from archive.demo.simulator import simulate
from archive.store.parquet import BagTables

_ROOT = Path(__file__).resolve().parents[2]
_ROWS = 400


def run(sizes: Sequence[int] = (400, 5_000), quick: bool = False) -> list[dict[str, Any]]:
    """One row per size: time and processor time per link of both, the ratio of their speeds, the peak of memory."""
    return [_size(links, 1 if quick else 3 if links > 1_000 else 5) for links in ([12] if quick else sizes)]


def _size(links: int, repeats: int) -> dict[str, Any]:
    with tempfile.TemporaryDirectory(prefix="muniment-bench-") as name:
        folder = Path(name)
        formats.write(simulate(links, seed=9), folder / "csv", "csv")
        size = sum(p.stat().st_size for p in (folder / "csv").iterdir())
        bare_times, our_times, bare_cpu, our_cpu, memories = [], [], [], [], []
        for n in range(repeats + 1):  # the first of each warms the cache of files and is not counted
            began, cpu = time.perf_counter(), time.process_time()
            bare(folder / "csv", folder / "bare.parquet")
            bare_times.append(time.perf_counter() - began)
            bare_cpu.append(time.process_time() - cpu)
            seconds, used = ours(folder, n)
            our_times.append(seconds)
            our_cpu.append(used["cpu"])
            memories.append(used["peak"])
        same = _agree(folder, links)
        limit, own, limit_cpu, own_cpu = (
            statistics.median(t[1:] or t) for t in (bare_times, our_times, bare_cpu, our_cpu)
        )
        return {
            "what": "deposit from open CSV",
            "links": links,
            "csv_mb": round(size / 1e6, 1),
            "ours_ms_per_link": round(own / links * 1e3, 2),
            "bare_ms_per_link": round(limit / links * 1e3, 2),
            "ours_cpu_ms": round(own_cpu / links * 1e3, 2),
            "bare_cpu_ms": round(limit_cpu / links * 1e3, 2),
            "speed_against_bare": round(limit / own, 3),
            "target": "1/3 or more",
            "peak_mb": round(max(memories) / 1e6),
            "agree": same,
        }


def bare(source: Path, target: Path) -> None:
    """Bare parsing and bare writing: every table as text columns, curves as lists of doubles, one Parquet file each."""
    for path in sorted(source.glob("*.csv")):
        options = pa.csv.ConvertOptions(column_types={})
        with pa.csv.open_csv(
            path,
            read_options=pa.csv.ReadOptions(block_size=1 << 24),
            parse_options=pa.csv.ParseOptions(newlines_in_values=True),
            convert_options=options,
        ) as rows:
            writer = None
            for batch in rows:
                table = pa.Table.from_batches([batch])
                if path.stem == "sweeps":
                    table = table.set_column(table.column_names.index("values"), "values", _lists(table["values"]))
                if writer is None:
                    out = target if path.stem == "sweeps" else target.with_name(f"{path.stem}.parquet")
                    writer = pq.ParquetWriter(out, table.schema, compression="zstd")
                writer.write_table(table.cast(writer.schema))
            if writer is not None:
                writer.close()


def _lists(texts: Any) -> Any:
    """Lists of doubles, split and parsed by Arrow some megabytes at a time: faster than numpy.fromstring (measured)."""
    parts = []
    for chunk in texts.chunks:
        for start in range(0, len(chunk), _ROWS):
            split = pc.split_pattern(chunk.slice(start, _ROWS), " ")
            parts.append(pa.ListArray.from_arrays(split.offsets, pc.cast(split.values, pa.float64())))
    return pa.chunked_array(parts)


def ours(folder: Path, number: int) -> tuple[float, dict[str, float]]:
    """The whole command in a process of its own: seconds; peak of memory in bytes and seconds of processor time."""
    archive, cache = folder / "archive", folder / f"cache{number}"
    shutil.rmtree(archive, ignore_errors=True)
    environment = {**os.environ, "MUNIMENT_CACHE": str(cache), "MUNIMENT_CONFIG": str(cache)}
    command = [sys.executable, "-m", "tests.benchmarks._timed"]
    subprocess.run([*command, "init", str(archive)], cwd=_ROOT, env=environment, check=True, capture_output=True)
    words = ["deposit", str(folder / "csv"), "--into", str(archive), "--job", "J", "-q"]
    began = time.perf_counter()
    done = subprocess.run([*command, *words], cwd=_ROOT, env=environment, check=True, capture_output=True, text=True)
    seconds = time.perf_counter() - began
    return seconds, json.loads(done.stderr.splitlines()[-1])


def _agree(folder: Path, links: int) -> bool:
    """The first, a middle and the last curve are the same in both."""
    archive = store.open(folder / "archive")
    bag = next((archive.root / "deposits").glob("*/*"))
    tables = BagTables(bag)
    assert tables.count == links
    bare_rows = pq.ParquetFile(folder / "bare.parquet")
    assert bare_rows.metadata.num_rows == links * 48
    first = bare_rows.read_row_group(0, ["record_id", "values"])
    by_id: dict[str, list[Any]] = {}
    for record, values in zip(first["record_id"].to_pylist()[:480], first["values"].to_pylist()[:480], strict=True):
        by_id.setdefault(record, []).append(values)
    ids = tables.table("records")["record_id"].to_pylist()
    looked = [i for i in ids if i in by_id][:8]
    return all(
        sorted(map(repr, tables.record(ids.index(i))["sweeps"]["values"].to_pylist())) == sorted(map(repr, by_id[i]))
        for i in looked
    ) and bool(looked)
