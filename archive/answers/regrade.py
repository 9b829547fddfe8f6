"""Grades records of the archive again."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from functools import partial
from itertools import chain
from pathlib import Path
from typing import Any

from archive import grading, limits, schemas
from archive.answers.optical_links import OpticalLinks
from archive.errors import Trouble
from archive.limits.any_kind import files_of
from archive.spread import Workforce
from archive.store import Archive
from archive.store.assessments import (
    AssessmentOutcome,
    RecordsToGrade,
    RunFacts,
    assess,
    graded,
    records_to_grade,
)
from archive.store.catalogue.filters import Filters, addresses
from archive.store.files import sha256
from archive.store.kept_work import BagWork
from archive.tables import Batch


def regrade(
    archive: Archive,
    chosen: Filters,
    *,
    against: list[str] | None = None,
    force: Workforce | None = None,
    by: str | None,
    reason: str | None,
    sign: Any = None,
) -> AssessmentOutcome:
    """Grades the chosen records against limits (None: the one each record names) and commits an assessment.

    force: who grades them; the entry is committed here. Errors: Trouble for an unknown limit, or where nothing is
    chosen.
    """
    names = {f for limit in against or () for f in files_of(limit)}
    archive.catch_up()
    listed = addresses(archive.db, chosen, counted=True)
    if not listed:
        raise Trouble(
            "no record is chosen", code="archive.no-record-chosen", where=str(archive.root), remedy="widen the filters"
        )
    used = {Path(name).name: data for name, data in _read(names)}
    facts = {"against": against, "limits_version": limits.version()}
    files = tuple((name, sha256(data)) for name, data in _read(names))
    glass = _optical(archive) if against is None else frozenset()
    others = [address for address in listed if address not in glass]
    pieces = records_to_grade(archive, others, _Against(tuple(against) if against else None, files))
    work = BagWork(archive.id, force or Workforce(), "regrade", _graded, pieces, lambda piece: piece.deposit)
    parts = chain((part for _, parts in work.sure() for part in parts), _both_ends(archive, listed, glass))
    return assess(archive, len(set(listed)), parts, RunFacts(by, reason, facts, used, sign))


@dataclass(frozen=True)
class _Against:
    """Limits, and the files that they stand in with their SHA-256."""

    against: tuple[str, ...] | None
    files: tuple[tuple[str, str], ...]


def _optical(archive: Archive) -> frozenset[str]:
    """Addresses of the optical records."""
    rows = archive.db.execute("SELECT deposit || '/' || position FROM records WHERE medium = 'fiber'")
    return frozenset(row[0] for row in rows)


def _both_ends(archive: Archive, listed: list[str], glass: frozenset[str]) -> Iterator[dict[str, Any]]:
    """Optical records graded here, each with the record of the other end beside it, whatever deposit holds that."""
    links = OpticalLinks(archive)
    for piece in records_to_grade(archive, [address for address in listed if address in glass]):
        yield from graded(piece, lambda batch: links.add(grading.grade(batch)))


def _read(names: Iterable[str | Path]) -> list[tuple[str, bytes]]:
    """Limit files with their bytes; those of the library by their names in it, others by their paths."""
    return [(str(name), (schemas.root() / "limits" / name).read_bytes()) for name in sorted(names, key=str)]


def _graded(piece: RecordsToGrade) -> list[dict[str, Any]]:
    """Verdicts and grades of a piece, wherever this runs. Errors: Trouble where a limit file is another one there."""
    asked: _Against = piece.said
    for name, digest in asked.files:
        path = schemas.root() / "limits" / name
        if not path.is_file() or sha256(path.read_bytes()) != digest:
            raise Trouble(
                "a worker has no such limit file, or another one",
                code="regrade.other-limit",
                where=name,
                remedy="put the limit where all workers find it by the same path",
            )
    return list(graded(piece, partial(_against, against=asked.against)))


def _against(batch: Batch, against: tuple[str, ...] | None) -> Batch:
    return grading.grade(batch, against=list(against) if against else None)
