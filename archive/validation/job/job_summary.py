"""A job in numbers, as the acceptance report states them."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from archive.tables.arrow import Ints
from archive.validation.look import JobLook


@dataclass(frozen=True)
class LinkSummary:
    """One link of the job: its label, its latest test, how often it was tested."""

    label: str
    verdict: str
    marginal: bool
    tests: int
    day: str
    limit_id: str
    first_verdict: str


@dataclass(frozen=True)
class JobSummary:
    """jobs, limits, units: names with the number of links; days: first and last day of tests ("" where none).

    job: name, client, site, contractor and crew of the job, where there is only one. links: latest state of each link;
    scheduled is None where there is no schedule.
    """

    records: int
    set_aside: int
    jobs: tuple[str, ...]
    job: dict[str, str]
    limits: tuple[tuple[str, int], ...]
    units: tuple[str, ...]
    days: tuple[str, str]
    links: tuple[LinkSummary, ...]
    scheduled: int | None
    missing: tuple[str, ...]
    unexpected: tuple[str, ...]

    def count(self, verdict: str) -> int:
        """Links whose latest test has this verdict."""
        return sum(link.verdict == verdict for link in self.links)

    @property
    def marginal(self) -> int:
        """Links whose latest test passes and is marked as marginal."""
        return sum(link.marginal and link.verdict == "pass" for link in self.links)

    @property
    def retested(self) -> int:
        """Links tested more than once."""
        return sum(link.tests > 1 for link in self.links)


def summarise(job: JobLook, set_aside: int) -> JobSummary:
    """The summary of a job."""
    links = tuple(_link(job, tests) for tests in job.by_link)
    days = job["day"][~np.isnat(job["day"])] if job.size else np.zeros(0, "datetime64[D]")
    return JobSummary(
        records=job.size,
        set_aside=set_aside,
        jobs=tuple(_names(job["job_id"])),
        job=_job(job),
        limits=tuple(_counted([link.limit_id or "limit not resolved" for link in links])),
        units=tuple(sorted({x for x in [*job["unit"], *job["partner"]] if x})),
        days=(str(days.min()), str(days.max())) if len(days) else ("", ""),
        links=links,
        scheduled=len(job.schedule) if job.schedule else None,
        missing=tuple(job.missing),
        unexpected=tuple(job.unexpected),
    )


def _link(job: JobLook, tests: Ints) -> LinkSummary:
    last = tests[-1]
    day = str(job["day"][last])
    return LinkSummary(
        label=str(job["link_label"][last]),
        verdict=str(job.verdict[last]) or "no verdict",
        marginal=bool(job["marginal"][last]),
        tests=len(tests),
        day="" if day == "NaT" else day,
        limit_id=str(job["limit_id"][last]),
        first_verdict=str(job.verdict[tests[0]]) or "no verdict",
    )


def _job(job: JobLook) -> dict[str, str]:
    names = _names(job["job_id"])
    row = job.facts.jobs.get(names[0], {}) if len(names) == 1 else {}
    return {k: row[k] for k in ("name", "client", "site", "contractor", "crew") if row.get(k)}


def _names(values: Iterable[str]) -> list[str]:
    return [x for x in dict.fromkeys(values) if x]


def _counted(values: list[str]) -> list[tuple[str, int]]:
    names, count = np.unique(np.array(values, dtype=str), return_counts=True)
    order = np.argsort(-count, kind="stable")
    return [(str(names[i]), int(count[i])) for i in order]
