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
    IN_DOUBT,
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
    same = _same_curves(job, copies)
    links = []
    for i, tests in enumerate(job.by_link):
        counting, lines = job.counting[i], job.lines[i]
        records = [record_result({column: job[column][row] for column in _NEEDED}) for row in counting]
        result = link_result(job.label[i], records, _required(job, int(tests[-1])))
        result = replace(result, later_lesser_fails=_lesser_fails(job, tests, counting))
        if i in job.links.unsure or i in job.open_lines:
            result = LinkResult(job.label[i], IN_DOUBT)
        is_line = len(lines) == 1 and job.at_line[lines[0]] == i
        copy_of = next((same[job["record_id"][row]] for row in counting if job["record_id"][row] in same), "")
        links.append(
            replace(
                result,
                scheduled=is_line,
                further_side=bool(lines) and not is_line,
                late=is_line and lines[0] in job.late,
                copy_of="" if i in job.open_lines else copy_of,
                tests=len(tests),
            )
        )
    links += [LinkResult(line[0], scheduled=True, late=line in job.late) for line in job.missing]
    return LinkCounts(one_of_copies(links), job.schedule is not None and bool(job.schedule.lines))


_NEEDED = ("evidence", "verdict", "reported_verdict", "limit_id", "marginal", "provisional")


def _lesser_fails(job: JobLook, tests: Ints, counting: list[int]) -> int:
    """Failing tests later than those that count, and of less evidence."""
    when, least = max(job.when[row] for row in counting), min(job.rank(row) for row in counting)
    return sum(
        job.when[row] > when and job.rank(row) < least and "fail" in (job["verdict"][row], job["reported_verdict"][row])
        for row in tests.tolist()
    )


def _required(job: JobLook, row: int) -> tuple[str, ...]:
    words = job.required(row, "required_limit")
    return meant(words or job.facts.jobs.get(job["job_id"][row], {}).get("required_limit") or "")


def _same_curves(job: JobLook, copies: Copies | None) -> dict[str, str]:
    """Of records whose curves are those of another link's, number for number, the label of that link; the link that
    comes first is of none."""
    pairs = [pair for pair in copies.pairs if pair.rule == EXACT] if copies is not None else []
    wanted = {record for pair in pairs for record in (pair.a, pair.b)}
    link_of = {r: int(n) for r, n in zip(job["record_id"], job.link, strict=True) if r in wanted} if wanted else {}
    found: dict[str, str] = {}
    for pair in pairs:
        sides = sorted(((pair.label_a, link_of[pair.a], pair.a), (pair.label_b, link_of[pair.b], pair.b)))
        (first, one, _), (label, other, copy) = sides
        if first != label or one != other:
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
