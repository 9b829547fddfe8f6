"""Tests of a label that the schedule of their job has at several places, and that do not say of which of them they are.

What resolves it is a place: it is corrected with `muniment amend`. `progress` counts such links as in doubt.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from archive.store import Archive
from archive.store.catalogue.label_search import labels


@dataclass(frozen=True)
class ScheduleDoubt:
    """A link of a job, and why it is not known of which scheduled place it is, with what resolves it."""

    job: str
    link: str
    why: str

    def plain(self) -> dict[str, Any]:
        """As JSON."""
        return dict(vars(self))


def schedule_doubts(
    archive: Archive, label: str | None = None, *, job: str | None = None, site: str | None = None
) -> list[ScheduleDoubt]:
    """Of all jobs, or of one; of all labels, or of those that one means."""
    archive.catch_up()
    jobs = _several_places(archive, [job] if job is not None else None)
    if not jobs:
        return []
    from archive.answers.progress import progress

    meant = None if label is None else set(labels(archive.db, label, job=job, site=site))
    found = []
    for name in sorted(jobs):
        for x in progress(archive, name).links:
            own_site = site is None or (x.record is not None and str(x.record["site"] or "").lower() == site.lower())
            if x.between and (meant is None or x.label in meant) and own_site:
                found.append(ScheduleDoubt(name, x.label, x.between))
    return found


def between_lines(archive: Archive, rows: Iterable[Any]) -> set[int]:
    """Which of some records of the catalogue (their `row`) may be of several lines of the schedule of their job."""
    listed = [r for r in rows if r["job_id"] is not None and r["link_label"]]
    jobs = _several_places(archive, sorted({r["job_id"] for r in listed}))
    if not jobs:
        return set()
    from archive.answers.job_schedule import latest_schedule
    from archive.store.identity import place
    from archive.validation.look.scheduled_links import ScheduledLinks

    of = {job: ScheduledLinks(list(latest_schedule(archive, job).values())) for job in jobs}
    return {
        int(r["row"])
        for r in listed
        if r["job_id"] in of and len(of[r["job_id"]].candidates(str(r["link_label"]), place(r))) > 1
    }


def _several_places(archive: Archive, jobs: list[str] | None) -> set[str]:
    """Jobs of which a schedule had a label at more than one place; of all jobs where none is named."""
    where = "" if jobs is None else f"AND job_id IN ({', '.join('?' * len(jobs))}) "
    rows = archive.db.execute(
        f"SELECT DISTINCT job_id FROM schedule WHERE job_id IS NOT NULL {where}"
        "GROUP BY job_id, number, link_label HAVING count(*) > 1",
        jobs or [],
    )
    return {str(r[0]) for r in rows.fetchall()}
