"""Rules about a job against its schedule."""

from __future__ import annotations

import difflib
from collections.abc import Iterator

from archive.validation.catalogue.registry import AboutLinks, Answer, NotLooked, Raised, Tolerances, rule
from archive.validation.look import JobLook
from archive.validation.look.limits_of import meant
from archive.vocabulary import cables


@rule("link-missing")
def link_missing(job: JobLook, _: Tolerances) -> Iterator[Answer]:
    """Scheduled links without a result."""
    labels = [line[0] for line in job.missing]
    yield Raised(AboutLinks(labels), where=[job.line_named(line) for line in job.missing])


@rule("link-unexpected")
def link_unexpected(job: JobLook, _: Tolerances) -> Iterator[Answer]:
    """Results of links that the schedule does not have, with the scheduled label that comes nearest."""
    labels, absent = [job.label[i] for i in job.unexpected], {line[0]: line for line in reversed(job.missing[:2000])}
    near = [difflib.get_close_matches(x, absent, n=1, cutoff=0.8) for x in labels]
    found = [f"; {job.line_named(absent[names[0]])} is, and is missing" if names else "" for names in near]
    yield Raised(AboutLinks(labels), where=[job.named(job.latest[i]) for i in job.unexpected], found=found)


@rule("label-not-as-scheduled")
def label_not_as_scheduled(job: JobLook, _: Tolerances) -> Iterator[Answer]:
    """Labels that the schedule writes in another way."""
    if job.schedule is not None:
        named = {x: job.schedule.label_of(x) or x for x in dict.fromkeys(job["link_label"])}
        other = {x: name for x, name in named.items() if name != x}
        yield Raised(AboutLinks(list(other)), where=list(other), expected=list(other.values()))


@rule("link-late")
def link_late(job: JobLook, _: Tolerances) -> Iterator[Answer]:
    """The first test of a link, or today where there is none, against the day it was due."""
    if job.schedule is None:
        return
    labels = [line[0] for line in job.late]
    found = ["it has no result" if day is None else f"it was tested on {day}" for day, _ in job.late.values()]
    due = [str(day) for _, day in job.late.values()]
    yield Raised(AboutLinks(labels), where=[job.line_named(x) for x in job.late], found=found, expected=due)


@rule("limit-not-required-one")
def limit_not_required_one(job: JobLook, _: Tolerances) -> Iterator[Answer]:
    """The resolved limit of each record against that of its scheduled link, else of its job."""
    hits = []
    blind: dict[str, list[int]] = {}
    for row, limit_id in enumerate(job["limit_id"]):
        scheduled = job.required(row, "required_limit")
        words = scheduled or job.facts.jobs.get(job["job_id"][row], {}).get("required_limit")
        if not words:
            continue
        allowed = meant(words)
        if not limit_id:
            blind.setdefault("the limit that the record was tested to is not known", []).append(row)
        elif not allowed:
            blind.setdefault(f"the limit that is required is not known: {words!r}", []).append(row)
        elif limit_id not in allowed:
            hits.append((row, limit_id, " or ".join(allowed)))
    for why, unseen in blind.items():
        yield NotLooked(unseen, why)
    yield Raised.each(hits, job["link_label"])


@rule("cable-not-required-one")
def cable_not_required_one(job: JobLook, _: Tolerances) -> Iterator[Answer]:
    """The cable type of each record against that of its scheduled link, as far as both go."""
    if job.schedule is None:
        return
    hits = []
    for row, kind in enumerate(job["cable_type"]):
        wanted = job.required(row, "cable_type")
        if wanted and kind and "unknown" not in (wanted, kind) and not _fits(kind, wanted):
            hits.append((row, kind, wanted))
    yield Raised.each(hits, job["link_label"])


def _fits(kind: str, wanted: str) -> bool:
    """True where every part that the schedule names is a part of the cable; parts that the cable lacks are open."""
    have, asked = cables.known(kind), cables.known(wanted)
    return all(have[part] == asked[part] for part in have.keys() & asked.keys())
