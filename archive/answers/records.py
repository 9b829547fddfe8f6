"""Records of an archive as batches: those that are chosen and still count, each once, as corrected."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from itertools import groupby

from archive.answers.amended import amended
from archive.store import Archive
from archive.store.catalogue.filters import Filters
from archive.store.catalogue.search import find
from archive.tables import Batch

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


def read(archive: Archive, wanted: Iterable[Place]) -> Iterator[Batch]:
    """These records, deposit after deposit; neighbours are read together."""
    for deposit, members in groupby(sorted(wanted), key=lambda p: p[0]):
        tables = archive.tables(deposit)
        positions = {p for _, p in members}
        for low, high in _stretches(sorted(positions)):
            for start in range(low, high, _AT_ONCE):
                stop = min(start + _AT_ONCE, high)
                batch = next(iter(tables.batches(start, stop, _AT_ONCE)))
                listed = [p for p in range(start, stop) if p in positions]
                if len(listed) < stop - start:
                    ids = batch["records"].column("record_id").to_pylist()
                    batch = batch.select([ids[p - start] for p in listed])
                yield amended(archive, deposit, listed, batch)


def _stretches(positions: list[int]) -> Iterator[tuple[int, int]]:
    """Beginning and end of stretches of positions that lie near each other."""
    low = previous = positions[0]
    for position in positions[1:]:
        if position - previous > _GAP:
            yield low, previous + 1
            low = position
        previous = position
    yield low, previous + 1
