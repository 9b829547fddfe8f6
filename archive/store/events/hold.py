"""Legal holds, and what has passed its day of retention. Nothing is ever deleted by itself."""

from __future__ import annotations

from datetime import date
from typing import Any

from archive.errors import Trouble
from archive.store.archive import Archive
from archive.store.events.write import record
from archive.store.ledger import LedgerEntry
from archive.store.ledger.entry import Sign


def hold(
    archive: Archive, job: str, *, release: bool, by: str | None, reason: str | None, sign: Sign | None = None
) -> LedgerEntry:
    """Puts a job under a legal hold, or releases it. Errors: Trouble where that is so already, or for no such job."""
    archive.catch_up()
    if not archive.db.execute("SELECT 1 FROM records WHERE job_id = ? LIMIT 1", (job,)).fetchone():
        raise Trouble("no record of this job is in the archive", code="hold.unknown-job", found=job)
    if held(archive, job) != release:
        raise Trouble(f"the job is {'not held' if release else 'held already'}", code="hold.no-change", found=job)
    action = "release" if release else "hold"
    return record(archive, action, by=by, texts={"reason": reason, "job": job}, facts={"job": job}, sign=sign)


def held(archive: Archive, job: str) -> bool:
    """Whether a job is under a hold."""
    archive.catch_up()
    return archive.db.execute("SELECT 1 FROM holds WHERE job_id = ?", (job,)).fetchone() is not None


def holds(archive: Archive) -> list[dict[str, Any]]:
    """Jobs under a hold, with the entry that holds them."""
    archive.catch_up()
    return [dict(r) for r in archive.db.execute("SELECT job_id AS job, number FROM holds ORDER BY job_id")]


def retention(archive: Archive, on: date) -> list[dict[str, Any]]:
    """Jobs with their last day of retention: the day stated for the job, or else the end of its warranty.

    Each: job, retain_until (None where neither is known), basis, over (whether it has run out on that day), held.
    """
    archive.catch_up()
    jobs = archive.db.execute("SELECT DISTINCT job_id FROM records WHERE job_id IS NOT NULL ORDER BY job_id")
    facts: dict[str, dict[str, str]] = {str(r[0]): {} for r in jobs}
    for job, field, value in archive.db.execute("SELECT job_id, field, value FROM jobs ORDER BY job_id"):
        if job in facts:
            facts[job][field] = value
    told = []
    for job, known in facts.items():
        until = known.get("retain_until") or known.get("warranty_end")
        basis = "stated" if known.get("retain_until") else "end of the warranty" if until else None
        over = until is not None and until < on.isoformat()
        told.append({"job": job, "retain_until": until, "basis": basis, "over": over, "held": held(archive, job)})
    return told
