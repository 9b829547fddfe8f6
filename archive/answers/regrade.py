"""Grades records of the archive again."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from concurrent.futures import Executor, ProcessPoolExecutor
from functools import partial
from pathlib import Path
from typing import Any

from archive import grading, limits, schemas, store
from archive.errors import Trouble
from archive.limits.any_kind import files_of
from archive.store import Archive
from archive.store.assessments import Assessment, AssessmentOutcome, RunFacts, assess
from archive.store.catalogue.filters import Filters, addresses
from archive.tables import Batch


def regrade(
    archive: Archive,
    chosen: Filters,
    *,
    against: list[str] | None = None,
    workers: int | Executor = 1,
    by: str | None,
    reason: str | None,
    sign: Any = None,
) -> AssessmentOutcome:
    """Grades the chosen records against limits (None: the one each record names) and commits an assessment.

    workers: a number of processes, or anything with the interface of a concurrent.futures.Executor; deposits are its
    tasks. Errors: Trouble for an unknown limit, or where nothing is chosen.
    """
    names = {f for limit in against or () for f in files_of(limit)}
    archive.catch_up()
    listed = addresses(archive.db, chosen, counted=True)
    if not listed:
        raise Trouble(
            "no record is chosen", code="archive.no-record-chosen", where=str(archive.root), remedy="widen the filters"
        )
    used = {Path(n).name: (schemas.root() / "limits" / n).read_bytes() for n in names}
    facts = {"against": against, "limits_version": limits.version()}
    run = Assessment(archive, listed)
    grade = partial(graded, against=against)
    if workers == 1:
        parts: Iterable[dict[str, Any]] = (part for deposit in run.work for part in run.graded(deposit, grade))
    else:
        parts = _spread(run, workers, against)
    return assess(run, parts, RunFacts(by, reason, facts, used, sign))


def graded(batch: Batch, against: list[str] | None) -> Batch:
    """A batch graded against limits."""
    return grading.grade(batch, against=against)


def _spread(run: Assessment, workers: int | Executor, against: list[str] | None) -> Iterator[dict[str, Any]]:
    pool = ProcessPoolExecutor(workers) if isinstance(workers, int) else workers
    try:
        tasks = [pool.submit(_one, run.archive.root, d, run.work[d], against) for d in run.work]
        for task in tasks:
            yield from task.result()
    finally:
        if pool is not workers:
            pool.shutdown(cancel_futures=True)


def _one(root: Path, deposit: str, positions: list[int], against: list[str] | None) -> list[dict[str, Any]]:
    archive = store.open(root)
    run = Assessment(archive, [f"{deposit}/{p}" for p in positions])
    return list(run.graded(deposit, partial(graded, against=against)))
