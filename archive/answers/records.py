"""Records of an archive as batches: those that are chosen and still count, each once, as corrected and settled."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from contextlib import nullcontext
from itertools import groupby
from typing import TYPE_CHECKING

import pyarrow as pa

from archive.answers.amended import amended
from archive.store import Archive
from archive.store.catalogue.cable_columns import LATER_CABLE
from archive.store.catalogue.filters import Filters
from archive.store.catalogue.search import find
from archive.store.checked_files import passed_over
from archive.tables import Batch

if TYPE_CHECKING:
    from archive.store.parquet import BagTables

Place = tuple[str, int]
"""Deposit, and position in it."""
_AT_ONCE, _GAP = 128, 64


def places(archive: Archive, chosen: Filters) -> dict[str, Place]:
    """Where each chosen record is, by record id. Withdrawn ones, and what the same file gave before, are left out."""
    archive.catch_up()
    out: dict[str, Place] = {}
    for row in find(archive.db, chosen):
        if not row["withdrawn"]:
            out.setdefault(str(row["record_id"]), (str(row["deposit"]), int(row["position"])))
    return out


def read(archive: Archive, wanted: Iterable[Place], *, lacks: str | None = None) -> Iterator[Batch]:
    """These records, deposit after deposit; neighbours are read together.

    lacks: what an answer then does not hold, where it goes on without a deposit that is damaged, and names it. Errors:
    Trouble for a damaged one where lacks is None.
    """
    for deposit, members in groupby(sorted(wanted), key=lambda p: p[0]):
        with nullcontext() if lacks is None else passed_over(deposit, lacks):
            for listed, batch in as_archived(archive.tables(deposit), sorted({p for _, p in members})):
                yield retyped(archive, deposit, listed, amended(archive, deposit, listed, batch))


def as_archived(tables: BagTables, positions: Sequence[int]) -> Iterator[tuple[list[int], Batch]]:
    """Records of one deposit as they were archived, some at a time with their positions. positions: rising."""
    wanted = set(positions)
    for low, high in _stretches(list(positions)):
        for start in range(low, high, _AT_ONCE):
            stop = min(start + _AT_ONCE, high)
            batch = next(iter(tables.batches(start, stop, _AT_ONCE)))
            listed = [p for p in range(start, stop) if p in wanted]
            if len(listed) < stop - start:
                ids = batch["records"].column("record_id").to_pylist()
                batch = batch.select([ids[p - start] for p in listed])
            yield listed, batch


def corrected(archive: Archive, deposit: str) -> set[int]:
    """Positions of records of a deposit that were corrected, or that have another cable type, since."""
    rows = archive.db.execute(
        "SELECT position FROM records WHERE deposit = ? AND (row IN (SELECT row FROM amendments) OR "
        + LATER_CABLE
        + ")",
        (deposit,),
    )
    return {int(r[0]) for r in rows}


def retyped(archive: Archive, deposit: str, positions: Sequence[int], batch: Batch) -> Batch:
    """The batch with the cable types that count now, by settlement or by the job. positions: of its records."""
    marks = ", ".join("?" * len(positions))
    rows = archive.db.execute(
        f"SELECT position, cable_type FROM records WHERE deposit = ? AND position IN ({marks}) AND {LATER_CABLE}",
        (deposit, *positions),
    ).fetchall()
    if not rows:
        return batch
    later = {r["position"]: r["cable_type"] for r in rows}
    records = batch["records"]
    archived = records.column("cable_type").to_pylist()
    types = pa.array([later.get(p, t) for p, t in zip(positions, archived, strict=True)], pa.string())
    at = records.column_names.index("cable_type")
    return batch.replace(records=records.set_column(at, records.schema.field(at), types))


def retyped_count(archive: Archive, wanted: Iterable[Place]) -> int:
    """How many of these records have a cable type that counts now and is not the archived one."""
    rows = archive.db.execute(f"SELECT deposit, position FROM records WHERE {LATER_CABLE}")
    return len({(r["deposit"], r["position"]) for r in rows} & set(wanted))


def _stretches(positions: list[int]) -> Iterator[tuple[int, int]]:
    """Beginning and end of stretches of positions that lie near each other."""
    low = previous = positions[0]
    for position in positions[1:]:
        if position - previous > _GAP:
            yield low, previous + 1
            low = position
        previous = position
    yield low, previous + 1
