"""Curves that stand under more than one link of an archive."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from itertools import groupby
from typing import Any

from archive.store import Archive
from archive.store.catalogue.filters import Filters
from archive.store.catalogue.search import find
from archive.tables import Batch
from archive.validation.copies import Copies, Sketches
from archive.validation.copies import find as pairs
from archive.validation.copies.detector import sketches_for

Watch = Callable[[Iterable[Batch]], Iterable[Batch]]


def copies(archive: Archive, chosen: Filters, *, policy: Any = None, watch: Watch = iter) -> Copies:
    """Compares the chosen records with each other: those that still count, each test once.

    Withdrawn records, and those that the same file gave before, are left out; renditions, re-readings and relabelled
    tests are told from copies by unit and time. watch: passes batches through, for a bar.
    """
    archive.catch_up()
    found = [r for r in find(archive.db, chosen) if not r["withdrawn"]]
    where: dict[str, tuple[str, int]] = {}
    for row in found:
        where.setdefault(str(row["record_id"]), (str(row["deposit"]), int(row["position"])))
    sketches: Sketches = sketches_for(policy)
    for batch in watch(_read(archive, where.values())):
        sketches.add(batch)
    return pairs(sketches, lambda ids: _read(archive, [where[i] for i in ids]), policy)


def _read(archive: Archive, places: Iterable[tuple[str, int]]) -> Iterator[Batch]:
    """Records by deposit and position; neighbours are read together."""
    for deposit, members in groupby(sorted(places), key=lambda p: p[0]):
        tables = archive.tables(deposit)
        positions = [p for _, p in members]
        for low, high in _stretches(positions):
            wanted = set(positions)
            for start in range(low, high, 128):
                stop = min(start + 128, high)
                batch = next(iter(tables.batches(start, stop, 128)))
                if all(p in wanted for p in range(start, stop)):
                    yield batch
                else:
                    ids = batch["records"].column("record_id").to_pylist()
                    yield batch.select([ids[p - start] for p in range(start, stop) if p in wanted])


def _stretches(positions: list[int], gap: int = 64) -> Iterator[tuple[int, int]]:
    """Beginning and end of stretches of positions that lie near each other."""
    low = previous = positions[0]
    for position in positions[1:]:
        if position - previous > gap:
            yield low, previous + 1
            low = position
        previous = position
    yield low, previous + 1
