"""Delimited text with sweeps, read to tables by a mapping, against pyarrow.csv alone reading the same file.

Ours is archive.formats.read with a mapping: every cell accounted for, units, curves, axes, ids and the rules of the
tables; nothing is written. The limit is pyarrow.csv.read_csv as it comes, which gives columns. Where a cell holds a
whole list, pyarrow.csv leaves it text: there a second limit also turns the texts into numbers with numpy. The peer is
pandas.read_csv and the script a person would write to get the curves of each link. Links come from the seeded
simulator, in three invented layouts, one of them also with each cell in quotes.
"""

from __future__ import annotations

import tempfile
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any

import numpy as np
import pyarrow.csv as pcsv

import archive.formats
from archive.demo.simulator import simulate
from archive.tables import Batch
from tests.benchmarks._exports import LAYOUTS, NAMES, write
from tests.benchmarks._interleaved import medians

SIZES = (400,)
_WHO = 3
Found = dict[Any, Any]


def run(sizes: Sequence[int] = (), quick: bool = False) -> list[dict[str, Any]]:
    """Rows with ratios; a share of 1 is as fast as the limit. quick: a few links, each thing done once."""
    rows = []
    for links in (6,) if quick else tuple(s for s in sizes if s <= 1_000) or SIZES:
        with tempfile.TemporaryDirectory(prefix="muniment-bench-") as folder:
            for layout in LAYOUTS:
                rows += list(_rows(Path(folder), layout, links, 1 if quick else 5))
            rows += list(_rows(Path(folder), "points", links, 1 if quick else 5, quoted=True))
    return rows


def _rows(folder: Path, layout: str, links: int, runs: int, quoted: bool = False) -> Iterator[dict[str, Any]]:
    batches = list(simulate(links, seed=3))
    path, mapping = write(batches, folder, layout, quoted)
    works = [lambda: ours(path, mapping), lambda: pcsv.read_csv(path), lambda: script(path, layout)]
    if layout == "lists":
        works.append(lambda: as_numbers(path))
    read, limit, peer, *more = medians(runs, *works)
    size = path.stat().st_size
    yield {
        "what": f"read an export to tables, {layout}{', every cell quoted' if quoted else ''}",
        "links": links,
        "megabytes": round(size / 1e6, 1),
        "share_of_pyarrow_csv": limit / read,
        "target": 0.4,
        "share_of_csv_and_numbers": more[0] / read if more else None,
        "times_faster_than_peer": peer / read,
        "agree": agree(ours(path, mapping), script(path, layout)),
    }
    path.unlink()


def ours(path: Path, mapping: Path) -> list[Batch]:
    """The whole way, to sound tables."""
    return list(archive.formats.read(path, mapping=mapping))


def as_numbers(path: Path) -> list[Any]:
    """The limit for cells that are lists: pyarrow.csv, and each cell's text to numbers with numpy."""
    table = pcsv.read_csv(path)
    return [np.fromstring(text, sep=" ") for name in table.column_names[_WHO:] for text in table[name].to_pylist()]


def script(path: Path, layout: str) -> Found:
    """The peer: curves of each link by pandas, as arrays by (label, number, heading or words)."""
    import pandas as pd

    frame = pd.read_csv(path, dtype={"No": str})
    found: Found = {}
    if layout == "points":
        for who, rows in frame.groupby(["Link", "No"], sort=False):
            for name in frame.columns[_WHO + 1 :]:
                found[(*who, name)] = rows[name].to_numpy()
    elif layout == "curves":
        values = frame[frame.columns[_WHO + 3 :]].to_numpy()
        ends = frame["Side"].fillna("")
        for i, who in enumerate(zip(frame["Link"], frame["No"], frame["Quantity"], frame["Pair"], ends, strict=True)):
            found[(*who[:2], " ".join(x for x in who[2:] if x))] = values[i]
    else:
        for name in frame.columns[_WHO + 1 :]:
            for link, number, text in zip(frame["Link"], frame["No"], frame[name], strict=True):
                found[(link, number, name)] = np.array(text.split(), dtype=float)
    return found


def agree(tables: list[Batch], peer: Found) -> bool:
    """Whether the tables hold exactly the curves that the peer found, and nothing was set aside."""
    seen = 0
    for batch in tables:
        rows = batch["records"].select(["record_id", "link_label", "sequence"]).to_pylist()
        who = {r["record_id"]: (r["link_label"], r["sequence"]) for r in rows}
        if batch["set_aside"].num_rows or batch["extras"].num_rows:
            return False
        for s in batch["sweeps"].select(["record_id", "parameter", "end", "pairing", "values"]).to_pylist():
            name = " ".join(x for x in (NAMES[s["parameter"]], s["pairing"], s["end"]) if x)
            if not np.array_equal(np.array(s["values"]), peer[(*who[s["record_id"]], name)]):
                return False
            seen += 1
    return seen == len(peer)


if __name__ == "__main__":
    for row in run():
        print(row)
