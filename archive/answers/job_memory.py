"""What an archive knows of a job is not asked for twice, and what contradicts it is not taken in silence."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import replace

from archive.errors import Trouble
from archive.store import Archive
from archive.store.catalogue.standing_columns import fold
from archive.store.deposits import DepositFacts
from archive.store.names import check_job_name

_NUMBER = re.compile(r"\d+")


def remembered(archive: Archive, facts: DepositFacts, *, new: bool = False) -> DepositFacts:
    """The facts with site and zone of the job where they are not given. new: a new job or site is meant.

    Errors: Trouble for a job's name that is none, a site or zone that contradicts the job's, and, unless new, for a job
    or site that is new and nearly equal to a known one.
    """
    archive.catch_up()
    job = facts.job
    if job is None:
        return facts
    check_job_name(job, "--job")
    db = archive.db
    known = {r[0]: r[1] for r in db.execute("SELECT field, value FROM jobs WHERE job_id = ?", (job,))}
    sites = [r[0] for r in db.execute("SELECT DISTINCT site FROM records WHERE site IS NOT NULL ORDER BY site")]
    sites += [r[0] for r in db.execute("SELECT DISTINCT value FROM jobs WHERE field = 'site'") if r[0] not in sites]
    jobs = [r[0] for r in db.execute("SELECT job_id FROM deposits UNION SELECT job_id FROM jobs ORDER BY 1") if r[0]]
    for name in ("site", "zone"):
        given, held = getattr(facts, name), known.get(name)
        if given is not None and held is not None and given != held:
            raise Trouble(
                f"this contradicts the {name} of the job",
                code="job.contradicts",
                where=f"--{name}",
                found=given,
                expected=held,
                remedy=f"leave it out, or correct the job with `muniment job {archive.root} {job} --set {name}=...`",
            )
    if not new:
        _not_nearly("job", job, jobs)
        if facts.site is not None and "site" not in known:
            _not_nearly("site", facts.site, sites)
    return replace(facts, site=facts.site or known.get("site"), zone=facts.zone or known.get("zone"))


def not_nearly_known(archive: Archive, job: str) -> None:
    """Errors: Trouble where a job is new and nearly equal to a known one."""
    archive.catch_up()
    rows = archive.db.execute("SELECT job_id FROM deposits UNION SELECT job_id FROM jobs ORDER BY 1")
    _not_nearly("job", job, [r[0] for r in rows if r[0]])


def _not_nearly(what: str, given: str, known: Iterable[str]) -> None:
    """Errors: Trouble where a name is new and nearly equal to a known one."""
    listed = list(known)
    if given in listed:
        return
    near = next((name for name in listed if one_slip(given, name) and not numbered_apart(given, name)), None)
    if near is not None:
        raise Trouble(
            f"this {what} is new, and one that is known has nearly the same name",
            code="job.nearly-known",
            where=f"--{what}",
            found=given,
            expected=near,
            remedy="give the known name, or say --new where another one is meant",
        )


def one_slip(a: str, b: str) -> bool:
    """Whether two names differ by one slip at most: case, blanks, leading zeros, and one character besides."""
    x, y = sorted((fold(a) or "", fold(b) or ""), key=len)
    if x == y:
        return True
    start = next((i for i, (p, q) in enumerate(zip(x, y, strict=False)) if p != q), len(x))
    rest, other = x[start:], y[start:]
    if len(x) == len(y):  # one character for another, or two exchanged
        return rest[1:] == other[1:] or (rest[:2] == other[:2][::-1] and rest[2:] == other[2:])
    return rest == other[1:]


def numbered_apart(a: str, b: str) -> bool:
    """Whether two names differ in the value of their numbers alone, as those of jobs that are counted do."""
    first, second = _NUMBER.findall(a), _NUMBER.findall(b)
    same_words = _NUMBER.sub("#", a) == _NUMBER.sub("#", b)
    return same_words and [int(n) for n in first] != [int(n) for n in second]
