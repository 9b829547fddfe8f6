"""Rules about a job against its schedule."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from archive.validation.job.links import JobLook
from archive.validation.job.registry import AboutLinks, NotLooked, Raised, Said, job_rule
from archive.validation.limits_of import resolve
from archive.validation.registry import Tolerances


def missing(job: JobLook) -> list[str]:
    """Scheduled labels without a record, in the order of the schedule."""
    if job.schedule is None:
        return []
    there = {job.schedule.label_of(x) for x in dict.fromkeys(job["link_label"])}
    return [label for label in job.schedule.rows if label not in there]


def unexpected(job: JobLook) -> list[str]:
    """Labels of records that the schedule does not have, in the order of the records."""
    if job.schedule is None:
        return []
    return [x for x in dict.fromkeys(job["link_label"]) if x.strip() and job.schedule.label_of(x) is None]


@job_rule("link-missing")
def link_missing(job: JobLook, _: Tolerances) -> Iterator[Said]:
    """Scheduled links without a result."""
    labels = missing(job)
    yield AboutLinks(labels, where=labels)


@job_rule("link-unexpected")
def link_unexpected(job: JobLook, _: Tolerances) -> Iterator[Said]:
    """Results of links that the schedule does not have, with the scheduled label that comes nearest."""
    labels = unexpected(job)
    if job.schedule is not None and labels:
        absent = missing(job)
        yield AboutLinks(labels, where=labels, found=[_near(x, absent) for x in labels])


def _near(label: str, absent: list[str]) -> str:
    import difflib

    found = difflib.get_close_matches(label, absent[:2000], n=1, cutoff=0.8)
    return f"; {found[0]} is, and is missing" if found else ""


@job_rule("label-not-as-scheduled")
def label_not_as_scheduled(job: JobLook, _: Tolerances) -> Iterator[Said]:
    """Labels that the schedule writes in another way."""
    if job.schedule is None:
        return
    labels = [x for x in dict.fromkeys(job["link_label"]) if (job.schedule.label_of(x) or x) != x]
    yield AboutLinks(labels, where=labels, expected=[job.schedule.label_of(x) or "" for x in labels])


@job_rule("link-late")
def link_late(job: JobLook, _: Tolerances) -> Iterator[Said]:
    """The first test of a link, or today where there is none, against the day it was due."""
    if job.schedule is None:
        return
    first: dict[str, np.datetime64] = {}
    for label, day in zip(job["link_label"], job["day"], strict=True):
        name = job.schedule.label_of(label)
        if name and not np.isnat(day):
            first[name] = min(first.get(name, day), day)
    labels, found, due = [], [], []
    for label, row in job.schedule.rows.items():
        last = _day(row["due_on"])
        if last is None:
            continue
        tested = first.get(label)
        if (tested if tested is not None else job.today) > last:
            labels.append(label)
            found.append(f"it was tested on {tested}" if tested is not None else "it has no result")
            due.append(str(last))
    yield AboutLinks(labels, where=labels, found=found, expected=due)


def _day(text: str | None) -> np.datetime64 | None:
    try:
        return np.datetime64(text[:10], "D") if text else None
    except ValueError:
        return None


@job_rule("limit-not-required-one")
def limit_not_required_one(job: JobLook, _: Tolerances) -> Iterator[Said]:
    """The resolved limit of each record against that of its scheduled link, else of its job."""
    rows, found, expected = [], [], []
    blind: dict[str, list[int]] = {}
    for row, (label, limit_id) in enumerate(zip(job["link_label"], job["limit_id"], strict=True)):
        name = job.schedule.label_of(label) if job.schedule else None
        scheduled = job.schedule.rows[name]["required_limit"] if job.schedule and name else None
        words = scheduled or job.facts.jobs.get(job["job_id"][row], {}).get("required_limit")
        if not words:
            continue
        allowed = _allowed(words)
        if not limit_id:
            blind.setdefault("the limit that the record was tested to is not known", []).append(row)
        elif not allowed:
            blind.setdefault(f"the limit that is required is not known: {words!r}", []).append(row)
        elif limit_id not in allowed:
            rows.append(row)
            found.append(limit_id)
            expected.append(" or ".join(allowed))
    for why, unseen in blind.items():
        yield NotLooked(unseen, why)
    yield Raised(rows, where=list(job["link_label"][rows]) if rows else "", found=found, expected=expected)


def _allowed(words: str) -> tuple[str, ...]:
    """Limits that the words of a contract may mean; none where they are not known."""
    limit_id, candidates, _ = resolve(words)
    return (limit_id,) if limit_id else candidates


@job_rule("cable-not-required-one")
def cable_not_required_one(job: JobLook, _: Tolerances) -> Iterator[Said]:
    """The cable type of each record against that of its scheduled link, as far as both go."""
    if job.schedule is None:
        return
    rows, found, expected = [], [], []
    for row, (label, kind) in enumerate(zip(job["link_label"], job["cable_type"], strict=True)):
        name = job.schedule.label_of(label)
        wanted = job.schedule.rows[name]["cable_type"] if name else None
        if wanted and kind and "unknown" not in (wanted, kind) and not _fits(kind, wanted):
            rows.append(row)
            found.append(kind)
            expected.append(wanted)
    yield Raised(rows, where=list(job["link_label"][rows]) if rows else "", found=found, expected=expected)


def _fits(kind: str, wanted: str) -> bool:
    """True where every part that the schedule names is a part of the cable; parts that the cable lacks are open."""
    have = kind.split("/")
    for place, part in enumerate(wanted.split("/")):
        if part in have:
            continue
        if place < 2 and len(have) > place:
            return False
        if any(_same_kind(part, h) for h in have):
            return False
    return True


def _same_kind(a: str, b: str) -> bool:
    kinds = (lambda p: p.startswith("awg"), lambda p: p in ("solid", "stranded"), lambda p: p.endswith("tp"))
    return any(k(a) and k(b) for k in kinds)
