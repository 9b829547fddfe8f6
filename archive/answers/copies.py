"""Curves that stand under more than one link of an archive."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from typing import Any

from archive.answers.records import places, read
from archive.store import Archive
from archive.store.catalogue.filters import Filters
from archive.tables import Batch
from archive.validation.copies import Copies
from archive.validation.copies import find as pairs
from archive.validation.copies.detector import sketches_for

Watch = Callable[[Iterable[Batch]], Iterable[Batch]]


def copies(archive: Archive, chosen: Filters, *, policy: Any = None, watch: Watch = iter) -> Copies:
    """Compares the chosen records with each other: those that still count, each test once.

    Renditions, re-readings and relabelled tests are told from copies by unit and time. watch: passes batches through,
    for a bar.
    """
    where = places(archive, chosen)
    sketches = sketches_for(policy)
    for batch in watch(read(archive, where.values())):
        sketches.add(batch)
    return pairs(sketches, lambda ids: read(archive, [where[i] for i in ids]), policy)
