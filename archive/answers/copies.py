"""Curves that stand under more than one link of an archive."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from itertools import groupby
from typing import Any

from archive.answers.records import Place, as_archived, corrected, places, read
from archive.spread import Workforce
from archive.store import Archive
from archive.store.bag_reading import BagReading
from archive.store.catalogue.filters import Filters
from archive.store.checked_files import DamagedFile, passed_over, tell_passed_over
from archive.store.kept_work import BagWork
from archive.validation.copies import Copies, Sketches
from archive.validation.copies import find as pairs
from archive.validation.copies.detector import sketches_for

_LACKS = "not all of its curves are compared"
_PIECE = 512
"""Records of a deposit that are sketched as one piece."""


@dataclass(frozen=True)
class _RecordsToSketch:
    """Records of one deposit, by their positions, rising. bag: where they stand as they were archived; None where
    somebody corrected one since, which the catalogue knows."""

    deposit: str
    positions: tuple[int, ...]
    bag: BagReading | None
    policy: Any


def copies(archive: Archive, chosen: Filters, *, policy: Any = None, force: Workforce | None = None) -> Copies:
    """Compares the chosen records with each other: those that still count, each test once.

    Renditions, re-readings and relabelled tests are told from copies by unit and time. force: who looks at the curves;
    records are compared here. A deposit that is damaged is named and left out.
    """
    where = places(archive, chosen)
    pieces = _pieces(archive, where.values(), policy)
    alone = [p for p in pieces if p.bag is not None]
    sketched = BagWork(archive.id, force or Workforce(), "copies", _sketches, alone, lambda p: p.deposit).sure()
    sketches = sketches_for(policy)
    for piece in pieces:
        if piece.bag is None:
            for batch in read(archive, [(piece.deposit, p) for p in piece.positions], lacks=_LACKS):
                sketches.add(batch)
        elif isinstance(made := next(sketched)[1], str):
            tell_passed_over(piece.deposit, made, _LACKS)
        else:
            sketches.merge(made)
    next(sketched, None)  # all is done: nothing needs to be kept
    return pairs(sketches, lambda ids: read(archive, [where[i] for i in ids], lacks=_LACKS), policy)


def _pieces(archive: Archive, wanted: Iterable[Place], policy: Any) -> list[_RecordsToSketch]:
    made = []
    for deposit, members in groupby(sorted(wanted), key=lambda place: place[0]):
        changed, bag = corrected(archive, deposit), None
        with passed_over(deposit, _LACKS):
            bag = BagReading.of(archive, deposit)
        for _, some in groupby((p for _, p in members), key=lambda p: p // _PIECE) if bag is not None else ():
            positions = tuple(some)
            made.append(_RecordsToSketch(deposit, positions, None if changed.intersection(positions) else bag, policy))
    return made


def _sketches(piece: _RecordsToSketch) -> Sketches | str:
    """Sketches of a piece, wherever this runs; the path of a file of its bag that is damaged."""
    assert piece.bag is not None
    sketches = sketches_for(piece.policy)
    try:
        for _, batch in as_archived(piece.bag.tables, piece.positions):
            sketches.add(batch)
    except DamagedFile as lost:
        return lost.path
    return sketches
