"""Bytes per fully swept category 6A link in the archive, against what a user would pick and against an entropy.

The reference is the order-0 entropy of the first differences of the curves, in tenths of a dB: no bound, but what a
coder of single differences that knows their frequencies would need. Ours is lossless; a test reads it back with DuckDB.
Peers: gzip of the open CSV's sweeps and of the open XML (level 6), and float32 with zstd in Parquet, one row per curve.
Links come from the seeded simulator: 48 curves of 1,028 points at 0.1 dB.
"""

from __future__ import annotations

import os
import tempfile
import zlib
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq

from archive import formats, store
from archive.answers.intake import ingest
from archive.demo.simulator import simulate
from archive.store.deposits import DepositFacts
from archive.store.parquet import BagTables
from archive.tables import Batch


def run(sizes: Sequence[int] = (400, 5_000), quick: bool = False) -> list[dict[str, Any]]:
    """One row per size of the deposit: bytes per link of each form, and ratios to the entropy.

    5,000 links take some 3 GB of memory here, since their curves are held in it; larger ones are left out.
    """
    return [_size(links) for links in ([24] if quick else [s for s in sizes if s <= 5_000])]


def entropy_per_link(batches: Sequence[Batch]) -> float:
    """Order-0 entropy of the first differences of all curves, in bytes per link; the first value differs from zero."""
    links = sum(len(b) for b in batches)
    counts: dict[int, int] = {}
    for batch in batches:
        for values in batch["sweeps"]["values"].combine_chunks():
            steps = np.rint(values.values.to_numpy() * 10).astype(int)
            found, number = np.unique(np.diff(steps, prepend=0), return_counts=True)
            for value, n in zip(found.tolist(), number.tolist(), strict=True):
                counts[value] = counts.get(value, 0) + n
    n = np.array(list(counts.values()), dtype=float)
    share = n / n.sum()
    return float(-(share * np.log2(share)).sum() * n.sum() / 8 / links)


def _size(links: int) -> dict[str, Any]:
    batches = list(simulate(links, seed=9, category="cat6a"))
    reference = entropy_per_link(batches)
    with tempfile.TemporaryDirectory(prefix="muniment-bench-") as name:
        folder = Path(name)
        before = os.environ.get("MUNIMENT_CACHE")
        os.environ["MUNIMENT_CACHE"] = str(folder / "cache")
        try:
            formats.write(batches, folder / "csv", "csv")
            formats.write(batches, folder / "links.xml", "xml")
            archive = store.create(folder / "archive")
            made = ingest(archive, [folder / "csv"], DepositFacts(job="J"))
        finally:
            os.environ.pop("MUNIMENT_CACHE")
            if before is not None:
                os.environ["MUNIMENT_CACHE"] = before
        assert made.entry is not None
        bag = archive.root / made.entry["path"]
        files = {p: p.stat().st_size for p in bag.rglob("*") if p.is_file()}
        curves = sum(n for p, n in files.items() if p.name.startswith("sweeps-"))
        said = ("grades", "verdicts", "findings", "index")  # what the program said of the records, and the index
        tables = sum(n for p, n in files.items() if p.suffix == ".parquet" and p.stem not in said)
        statements = sum(n for p, n in files.items() if p.suffix == ".parquet" and p.stem in said)
        found = {
            "curves": curves,
            "tables": tables,
            "statements_and_index": statements,
            "whole_bag": sum(files.values()),
            "gzip_csv": _gzip(folder / "csv" / "sweeps.csv"),
            "gzip_xml": _gzip(folder / "links.xml"),
            "float32_zstd": _float32(batches, folder / "float32.parquet"),
        }
        per_link = {name: size / links for name, size in found.items()}
        return {
            "what": "bytes per link",
            "links": links,
            "entropy": round(reference),
            **{name: round(size) for name, size in per_link.items()},
            "curves_to_entropy": round(per_link["curves"] / reference, 3),
            "tables_to_entropy": round(per_link["tables"] / reference, 3),
            "target": "tables within 1.15",
            "tables_to_gzip_csv": round(per_link["tables"] / per_link["gzip_csv"], 3),
            "bag_to_gzip_csv": round(per_link["whole_bag"] / per_link["gzip_csv"], 3),
            "agree": _agree(bag, batches),
        }


def _gzip(path: Path) -> int:
    packer, size = zlib.compressobj(6, wbits=31), 0
    with path.open("rb") as file:
        while piece := file.read(1 << 20):
            size += len(packer.compress(piece))
    return size + len(packer.flush())


def _float32(batches: Sequence[Batch], path: Path) -> int:
    writer = None
    for batch in batches:
        table = batch["sweeps"]
        at = table.column_names.index("values")
        table = table.set_column(at, "values", table["values"].cast(pa.list_(pa.float32())))
        writer = writer or pq.ParquetWriter(path, table.schema, compression="zstd")
        writer.write_table(table, row_group_size=50 * 48)
    assert writer is not None
    writer.close()
    return path.stat().st_size


def _agree(bag: Path, batches: Sequence[Batch]) -> bool:
    """What the archive gives back is what went in, curve by curve."""
    tables, start = BagTables(bag), 0
    for want in batches:
        (got,) = tables.batches(start, start + len(want), size=max(1, len(want)))
        if not got["sweeps"].combine_chunks().equals(want["sweeps"].combine_chunks()):
            return False
        start += len(want)
    return start == tables.count
