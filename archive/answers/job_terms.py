"""Whether a job's records keep its terms: the required limit, its days, and the calibration of the units."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Literal

from archive.answers.kept_calibrations import KeptCalibrations
from archive.answers.progress import JobLink
from archive.answers.wording import ENGLISH, Wording
from archive.store import Archive
from archive.store.catalogue.standing_columns import acceptances
from archive.store.roles import family, fits

_LAPSED = "calibration-expired"
_MANY = 12
"""Labels that a sentence names at the most."""


@dataclass(frozen=True)
class TermBreach:
    """What does not keep the terms of a job. what: of which term; expected: the term; links: labels it concerns."""

    what: Literal["limit", "before", "after", "calibration"]
    expected: str
    links: tuple[str, ...]


def breaches(archive: Archive, job: str, links: Sequence[JobLink]) -> list[TermBreach]:
    """What of the links of a job (as `progress` gives them) does not keep its terms.

    Tested to another limit than the job or its schedule requires; tested before the work began or after it ended, where
    the job states these days; tested with a unit whose calibration had run out, as the rules found at the deposit
    and no calibration that was kept since says otherwise.
    """
    facts = {r[0]: r[1] for r in archive.db.execute("SELECT field, value FROM jobs WHERE job_id = ?", (job,))}
    tested = [(x.label, x.record) for x in links if x.record is not None]
    found = []
    required = acceptances(archive.db, [job]).get(job)
    if required is not None and required.family is not None:
        wanted = required.family
        other = [label for label, r in tested if r["limit_id"] and not fits(family(r), wanted)]
        found.append(TermBreach("limit", facts["required_limit"], tuple(other)))
    days = [(label, str(r["tested_local"] or r["tested_at"] or "")[:10]) for label, r in tested]
    whole = [(label, on) for label, on in days if len(on) == len("2019-03-04")]
    if start := facts.get("work_start"):
        found.append(TermBreach("before", start, tuple(label for label, on in whole if on < start)))
    if end := facts.get("work_end"):
        found.append(TermBreach("after", end, tuple(label for label, on in whole if on > end)))
    found.append(TermBreach("calibration", "", _lapsed(archive, tested)))
    return [b for b in found if b.links]


def sentences(found: Sequence[TermBreach], words: Wording = ENGLISH) -> list[str]:
    """Each breach in a sentence, with how many links and the first of them."""
    told = []
    for b in found:
        some = {"count": len(b.links), "links": words.some(list(b.links), _MANY)}
        if b.what == "limit":
            told.append(words("Tested to another limit than the job requires ({count}): {links}.", **some))
        elif b.what == "before":
            day = words.day(b.expected)
            told.append(words("Tested before the work began on {day} ({count}): {links}.", day=day, **some))
        elif b.what == "after":
            day = words.day(b.expected)
            told.append(words("Tested after the work ended on {day} ({count}): {links}.", day=day, **some))
        else:
            told.append(words("Tested with a unit whose calibration had run out ({count}): {links}.", **some))
    return told


def _lapsed(archive: Archive, tested: Sequence[tuple[str, Any]]) -> tuple[str, ...]:
    """Labels of links whose record the rules found tested with a unit out of calibration."""
    label_of, record_of = {r["record_id"]: label for label, r in tested}, {r["record_id"]: r for _, r in tested}
    kept = KeptCalibrations(archive)
    hit: set[str] = set()
    for deposit in sorted({r["deposit"] for _, r in tested}):
        table = archive.tables(deposit).table("findings").select(["rule", "status", "record_id", "where"])
        raised = [f for f in table.to_pylist() if f["rule"] == _LAPSED and f["status"] == "raised"]
        for f in raised:
            r = record_of.get(f["record_id"])
            serial = r[f"{f['where']}_serial"] if r is not None and f["where"] in ("local", "remote") else None
            # a calibration that was handed in later than the test settles it
            if r is not None and not kept.covers(serial, str(r["tested_local"] or "")[:10]):
                hit.add(f["record_id"])
    return tuple(sorted(label_of[i] for i in hit & label_of.keys()))
