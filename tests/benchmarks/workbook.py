"""Workbooks with sweeps, read to tables by a mapping, against python-calamine alone reading the same cells.

Ours is archive.formats.read with a mapping: sheets joined by link and number, every cell accounted for, curves, axes,
ids and the rules of the tables; nothing is written. The limit is python-calamine giving the cells of every sheet as
Python values, which ours does too before anything else. The peer is pandas.read_excel and a script that gathers the
curves of each link. Links come from the seeded simulator; the layout is invented.
"""

from __future__ import annotations

import tempfile
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any

import archive.formats
from archive.demo.simulator import simulate
from archive.tables import Batch
from tests.benchmarks._exports import workbook
from tests.benchmarks._interleaved import medians
from tests.benchmarks.delimited import Found, agree

SIZES = (400,)


def run(sizes: Sequence[int] = (), quick: bool = False) -> list[dict[str, Any]]:
    """Rows with ratios; a share of 1 is as fast as the limit. quick: a few links, each thing done once."""
    rows = []
    for links in (3,) if quick else tuple(s for s in sizes if s <= 500) or SIZES:
        with tempfile.TemporaryDirectory(prefix="muniment-bench-") as folder:
            rows += list(_rows(Path(folder), links, 1 if quick else 5))
    return rows


def _rows(folder: Path, links: int, runs: int) -> Iterator[dict[str, Any]]:
    path, mapping = workbook(simulate(links, seed=3), folder)
    read, limit, peer = medians(runs, lambda: ours(path, mapping), lambda: cells(path), lambda: script(path))
    yield {
        "what": "read a workbook to tables",
        "links": links,
        "megabytes": round(path.stat().st_size / 1e6, 1),
        "cells": sum(len(row) for sheet in cells(path) for row in sheet),
        "share_of_calamine": limit / read,
        "target": 0.7,
        "times_faster_than_peer": peer / read,
        "agree": agree(ours(path, mapping), script(path)),
    }


def ours(path: Path, mapping: Path) -> list[Batch]:
    """The whole way, to sound tables."""
    return list(archive.formats.read(path, mapping=mapping))


def cells(path: Path) -> list[list[list[Any]]]:
    """The limit: every cell of every sheet by python-calamine."""
    import python_calamine as calamine

    book = calamine.CalamineWorkbook.from_path(str(path))
    return [book.get_sheet_by_name(name).to_python() for name in book.sheet_names]


def script(path: Path) -> Found:
    """The peer: curves of each link by pandas, as arrays by (label, number, heading)."""
    import pandas as pd

    frame = pd.read_excel(path, sheet_name="Points", engine="calamine", dtype={"No": str})
    found: Found = {}
    for who, rows in frame.groupby(["Link", "No"], sort=False):
        for name in frame.columns[3:]:
            found[(*who, name)] = rows[name].to_numpy(dtype=float)
    return found


if __name__ == "__main__":
    for row in run():
        print(row)
