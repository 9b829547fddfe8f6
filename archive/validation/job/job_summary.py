"""A job in numbers, as the acceptance report states them."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace

import numpy as np

from archive.tables.arrow import Ints
from archive.validation.copies.detector import EXACT, Copies
from archive.validation.look import JobLook
from archive.validation.look.limits_of import meant
from archive.vocabulary.link_counts import (
    REGRADED,
    LinkCounts,
    LinkResult,
    link_result,
    one_of_copies,
    record_result,
)


@dataclass(frozen=True)
class JobSummary:
    """jobs, limits, units: names with the number of links; days: first and last day of tests ("" where none).

    job: name, client, site, contractor and crew of the job, where there is only one. counts: of its links.
    """

    records: int
    set_aside: int
    jobs: tuple[str, ...]
    job: dict[str, str]
    limits: tuple[tuple[str, int], ...]
    units: tuple[str, ...]
    days: tuple[str, str]
    counts: LinkCounts


def summarise(job: JobLook, set_aside: int, copies: Copies | None = None) -> JobSummary:
    """The summary of a job. copies: curves that stand under more than one link, as far as they were looked for."""
    days = job["day"][~np.isnat(job["day"])] if job.size else np.zeros(0, "datetime64[D]")
    return JobSummary(
        records=job.size,
        set_aside=set_aside,
        jobs=tuple(_names(job["job_id"])),
        job=_job(job),
        limits=tuple(_counted([job["limit_id"][row] or "limit not resolved" for row in job.latest])),
        units=tuple(sorted({x for x in [*job["unit"], *job["partner"]] if x})),
        days=(str(days.min()), str(days.max())) if len(days) else ("", ""),
        counts=_counts(job, copies),
    )


def _counts(job: JobLook, copies: Copies | None) -> LinkCounts:
    """The links by their latest complete tests, one of each family of limits."""
    same = _same_curves(copies)
    late = set(job.late)
    links, there = [], set()
    for tests in job.by_link:
        counting = _counting(job, tests)
        labels = [str(job["link_label"][row]) for row in tests]
        name = (job.schedule.label_of(labels[-1]) if job.schedule else None) or labels[-1]
        there.add(name)
        records = [record_result({column: job[column][row] for column in _NEEDED}) for row in counting]
        result = link_result(name, records, _required(job, int(tests[-1])))
        copy_of = next((same[job["record_id"][row]] for row in counting if job["record_id"][row] in same), "")
        scheduled = job.schedule is not None and name in job.schedule.rows
        links.append(
            replace(
                result,
                scheduled=scheduled,
                late=name in late,
                copy_of=copy_of,
                tests=len(tests),
                later_lesser_fails=_lesser_fails(job, tests, counting),
            )
        )
    for label in job.schedule.rows if job.schedule else ():
        if label not in there:
            links.append(LinkResult(label, scheduled=True, late=label in late))
    return LinkCounts(one_of_copies(links), bool(job.schedule))


_NEEDED = ("evidence", "verdict", "reported_verdict", "limit_id", "marginal", "provisional")
_RANK = {**dict.fromkeys(REGRADED, 2), "worst-points": 1}


def _counting(job: JobLook, tests: Ints) -> list[int]:
    """Of a link's tests the latest of those with most evidence, one of each family of limits."""
    families: dict[tuple[str, ...], list[int]] = {}
    for row in tests.tolist():
        families.setdefault(tuple(str(job["limit_id"][row]).split("/")[1:]), []).append(row)
    return [
        max(rows, key=lambda r: (_rank(job, r), job["verdict"][r] != "not graded", job.when[r]))
        for rows in families.values()
    ]


def _lesser_fails(job: JobLook, tests: Ints, counting: list[int]) -> int:
    """Failing tests later than those that count, and of less evidence."""
    when, least = max(job.when[row] for row in counting), min(_rank(job, row) for row in counting)
    return sum(
        job.when[row] > when
        and _rank(job, row) < least
        and "fail" in (job["verdict"][row], job["reported_verdict"][row])
        for row in tests.tolist()
    )


def _rank(job: JobLook, row: int) -> int:
    return _RANK.get(str(job["evidence"][row]), 0)


def _required(job: JobLook, row: int) -> tuple[str, ...]:
    words = job.schedule.value(job["link_label"][row], "required_limit") if job.schedule else ""
    return meant(words or job.facts.jobs.get(job["job_id"][row], {}).get("required_limit") or "")


def _same_curves(copies: Copies | None) -> dict[str, str]:
    """Of records whose curves are those of another link's, number for number, the label of that link; the link that
    comes first is of none."""
    found: dict[str, str] = {}
    for pair in copies.pairs if copies is not None else ():
        if pair.rule == EXACT and pair.label_a != pair.label_b:
            (first, _), (_, copy) = sorted(((pair.label_a, pair.a), (pair.label_b, pair.b)))
            found[copy] = min(found.get(copy, first), first)
    return found


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
