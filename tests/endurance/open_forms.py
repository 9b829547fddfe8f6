"""A document of 2 GB is read in under 500 MB of memory. Its content is invented by chance."""

from __future__ import annotations

import shutil
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pyarrow.compute as pc

import archive.formats
from archive.tables import Batch, axis_row
from archive.vocabulary import COMBINATIONS, ENDS

MEASURE = """
import sys
import archive.formats
records = sum(len(batch) for batch in archive.formats.read(sys.argv[1]))
with open("/proc/self/status") as status:
    print(records, next(int(line.split()[1]) // 1024 for line in status if line.startswith("VmHWM")))
"""
"""A process that reads one input and prints how many records it has and the peak of its memory in megabytes (Linux)."""

_RECORDS, _POINTS = 100, 500
_CEILING = 500


def one_batch() -> Batch:
    """100 records with 12 curves of 500 points, and with readings."""
    chance = np.random.default_rng(7)
    axis = axis_row((1 + np.arange(_POINTS)).tolist())
    ids = [f"re-{i:030d}" for i in range(_RECORDS)]
    sweep = {"parameter": "next", "origin": "measured", "axis_id": axis["axis_id"], "step": 0.1}
    reading = {"quantity": "propagation_delay", "origin": "measured", "step": 1.0}
    return Batch.from_rows(
        {
            "axes": [axis],
            "records": [{"record_id": i, "link_label": i[-4:], "evidence": "full-sweep"} for i in ids],
            "readings": [
                {"record_id": i, "subject": p, "value": 412.0, **reading} for i in ids for p in ("1-2", "3-6")
            ],
            "sweeps": [
                {
                    "record_id": i,
                    "end": e,
                    "pairing": c,
                    "values": np.round(chance.uniform(20, 90, _POINTS), 1),
                    **sweep,
                }
                for i in ids
                for e in ENDS
                for c in COMBINATIONS
            ],
        }
    )


def grow(folder: Path, form: str, megabytes: int) -> tuple[Path, int]:
    """An input of about so many megabytes of XML or CSV text, and how many records it has."""
    whole = one_batch()
    rounds = max(1, round(megabytes / (_RECORDS * 12 * _POINTS * 5.0 / 1e6)))

    def batches() -> Iterator[Batch]:
        for number in range(rounds):
            changed = {}
            for name, table in whole.items():
                if "record_id" in table.column_names and table.num_rows:
                    ids = pc.binary_join_element_wise(table.column("record_id"), f"-{number}", "")
                    table = table.set_column(0, table.schema.field(0), ids)
                changed[name] = table
            yield Batch(changed)

    out = folder / ("large.xml" if form == "xml" else f"large-{form}")
    archive.formats.write(batches(), out, form)
    return out, rounds * _RECORDS


def memory(folder: Path, quick: bool) -> Iterator[dict[str, Any]]:
    """Each form at two sizes: the memory must not grow with the input, and stay below the ceiling."""
    small, large = (20, 60) if quick else (200, 2_000)
    for form in ("xml", "csv", "parquet"):
        peaks = []
        for megabytes in (small, large):
            path, records = grow(folder, form, megabytes)
            done = subprocess.run(
                [sys.executable, "-c", MEASURE, str(path)], capture_output=True, text=True, check=True
            )
            read, peak = map(int, done.stdout.split())
            assert read == records, f"{form}: {read} of {records} records"
            assert peak < _CEILING, f"{form}: {peak} MB for {megabytes} MB"
            peaks.append(peak)
            shutil.rmtree(path) if path.is_dir() else path.unlink()
        yield {"what": f"memory, {form}", "megabytes": [small, large], "peak_mb": peaks}
