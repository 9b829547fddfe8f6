"""A large archive for counting, made quickly: bags with the tables that an index is derived from, and a ledger.

A few simulated jobs are graded once; each bag holds one of them under its own job, site, labels and dates. The bags
hold no originals and no sweeps, so that nothing but counting and finding can be tried on them. Invented data.
"""

from __future__ import annotations

import contextlib
import os
import secrets
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from archive import grading, store
from archive.demo.simulator import simulate
from archive.store import Archive, files, layout
from archive.store.bags import MANIFEST, TAG_MANIFEST
from archive.store.bags.manifest import manifest
from archive.store.deposits import index
from archive.store.parquet import options
from archive.store.parquet.writer import position_schema
from archive.tables import concat

TYPES = (
    ("cat6a", "f-utp", 0.02),
    ("cat6a", "u-utp", 0.05),
    ("cat6", "u-utp", 0.03),
    ("cat5e", "u-utp", 0.04),
)
SMALL = 5
SITES = 60


@contextlib.contextmanager
def unsynced() -> Iterator[None]:
    """Files are not waited for: what is measured comes later."""
    kept = os.fsync
    os.fsync = lambda _handle: None
    try:
        yield
    finally:
        os.fsync = kept


def tiled(path: Path, records: int, bags: int) -> Archive:
    """An archive of about so many records in so many bags, every second of which holds fewer than ten.

    Errors: FileExistsError where something stands at the path.
    """
    with unsynced():
        archive = store.create(path)
        templates = [_template(i, *kind) for i, kind in enumerate(TYPES)]
        small = bags // 2
        large = max(1, bags - small)
        size = max(SMALL + 5, (records - small * SMALL) // large)
        aside = path / layout.ASIDE
        for number in range(bags):
            wanted = SMALL if number % 2 and small else size
            _bag(archive, templates[number // 2 % len(templates)], number, wanted, aside)
    return archive


def _template(number: int, category: str, construction: str, fails: float) -> dict[str, Any]:
    changes: dict[str, Any] = {"category": category, "construction": construction, "fail_rate": fails}
    batches = simulate(480, 7 + number, sweeps=False, retest_share=0.9, **changes)
    batch = concat([grading.grade(b) for b in batches])
    rows = index.rows(batch, 0, [""] * len(batch), job=None, site=None)
    return {"batch": batch, "index": rows}


def _bag(archive: Archive, template: dict[str, Any], number: int, wanted: int, aside: Path) -> None:
    """Commits one bag of `wanted` records: the template over and over, cut."""
    deposit = f"{2019 + number % 7}-{number % 12 + 1:02d}-01-{number:010x}"
    place = f"{layout.DEPOSITS}/{2019 + number % 7}/{deposit}"
    tables = archive.root / place / "data" / "tables"
    tables.mkdir(parents=True)
    batch, rows = template["batch"], template["index"]
    count = len(batch)
    rounds = -(-wanted // count)
    take = np.arange(rounds * count) % count
    lap = np.arange(rounds * count) // count
    take, lap = take[:wanted], lap[:wanted]
    made = rows.take(pa.array(take))
    job, site = f"JOB-{number:05d}", f"Site {number % SITES:02d}"
    labels = pc.binary_join_element_wise(
        pa.array([f"{number}.{n}" for n in lap.tolist()]), made["link_label"].combine_chunks(), "/"
    )
    year, month = 2019 + number % 7, number % 12 + 1
    texts = pc.binary_join_element_wise(
        f"{year}-{month:02d}", pc.utf8_slice_codeunits(made["tested_local"].combine_chunks(), 7, 19), ""
    )
    changed = {
        "position": pa.array(np.arange(wanted, dtype=np.int32)),
        "record_id": pa.array([f"re-{number:08x}{i:024x}" for i in range(wanted)]),
        "digest": pa.array([f"{number:032x}{i:032x}" for i in range(wanted)]),
        "link_label": labels,
        "job_id": pa.array([job] * wanted),
        "site": pa.array([site] * wanted),
        "tested_local": texts,
        "content": pa.array(np.arange(wanted, dtype=np.int64) + number * 1_000_000),
        "source_id": pa.array([f"{number:064x}"] * wanted),
    }
    for name, column in changed.items():
        made = made.set_column(made.column_names.index(name), made.schema.field(name), column)
    _write(tables.parent / "index.parquet", made, index.SCHEMA)
    _grades(tables, batch, take)
    facts = {**batch["jobs"].to_pylist()[0], "job_id": job, "site": site}
    jobs = pa.Table.from_pylist([facts], schema=batch["jobs"].schema)
    _write(tables / "jobs.parquet", jobs, jobs.schema)
    _write(tables / "instruments.parquet", batch["instruments"], batch["instruments"].schema)
    fields = {
        "kind": "deposit",
        "by": None,
        "deposit": deposit,
        "path": place,
        "records": wanted,
        "root": secrets.token_hex(32),
        "decisions": {"retests": _retests(labels.to_pylist(), deposit)},
        "files": {f"{place}/{TAG_MANIFEST}": _manifests(archive.root / place)},
    }
    archive.ledger.append(archive.ledger.count(), fields, aside)


def _manifests(bag: Path) -> dict[str, Any]:
    """Writes the manifests of a bag; what a ledger entry holds of them."""
    inside = {p.relative_to(bag).as_posix(): files.fingerprint(p).sha256 for p in bag.rglob("*") if p.is_file()}
    (bag / MANIFEST).write_bytes(manifest(inside))
    tags = manifest({MANIFEST: files.fingerprint(bag / MANIFEST).sha256})
    (bag / TAG_MANIFEST).write_bytes(tags)
    return {"sha256": files.sha256(tags), "bytes": len(tags)}


def _retests(labels: list[str], deposit: str) -> list[list[Any]]:
    seen: dict[str, int] = {}
    out = []
    for i, label in enumerate(labels):
        if label in seen:
            out.append([i, f"{deposit}/{seen[label]}"])
        seen[label] = i
    return out


def _grades(tables: Path, batch: Any, take: Any) -> None:
    grades = batch["grades"].combine_chunks()
    ids = batch["records"]["record_id"].combine_chunks()
    owner = pc.index_in(grades["record_id"].combine_chunks(), value_set=ids).to_numpy()
    starts, ends = np.searchsorted(owner, np.arange(len(ids))), np.searchsorted(owner, np.arange(len(ids)), "right")
    lengths = (ends - starts)[take]
    first = np.cumsum(lengths) - lengths
    rows = np.arange(lengths.sum()) - np.repeat(first - starts[take], lengths)
    made = grades.take(pa.array(rows))
    position = pa.array(np.repeat(np.arange(len(take)), lengths).astype(np.int32))
    made = made.add_column(0, position_schema("grades").field(0), position)
    _write(tables / "grades.parquet", made, position_schema("grades"))


def _write(path: Path, table: Any, schema: Any) -> None:
    with path.open("wb") as sink, options.writer(sink, schema) as writer:
        writer.write_table(table.cast(schema), row_group_size=16_384)
