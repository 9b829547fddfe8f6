"""The job that a claim is of, where the link was accepted in several and nobody named one."""

from __future__ import annotations

from archive.answers.claim.around import job_facts
from archive.answers.link import ArchivedLink
from archive.store import Archive


def warranted_job(archive: Archive, link: ArchivedLink, on: str) -> str | None:
    """The one job of those in which the link has an accepted record whose warranty covers a day (ISO 8601). None where
    it was accepted in fewer than two, or where not exactly one of them covers the day."""
    jobs = link.accepted_jobs
    covering = [j for j in jobs if _covers(job_facts(archive, j, None), on)]
    return covering[0] if len(jobs) > 1 and len(covering) == 1 else None


def _covers(facts: dict[str, str], on: str) -> bool:
    first, last = facts.get("warranty_start"), facts.get("warranty_end")
    return bool(first and last) and str(first)[:10] <= on <= str(last)[:10]
