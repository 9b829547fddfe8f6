"""How far a job is: what each of its links comes to, by which record, and what the schedule says of it.

The record that decides for a link is the one that was accepted in the job, or the current one: store.roles says which.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date
from itertools import groupby
from typing import Any

from archive.answers import count_text
from archive.store import Archive
from archive.store.catalogue.filters import Filters
from archive.store.catalogue.search import SHOWN
from archive.store.catalogue.standing_columns import fold, link_states
from archive.store.records import COUNTED
from archive.store.roles import Role
from archive.validation.look.scheduled_links import ScheduledLinks
from archive.vocabulary.link_counts import (
    IN_CONFLICT,
    IN_DOUBT,
    MISSING,
    LinkCounts,
    LinkResult,
    link_result,
    one_of_copies,
    record_result,
)

Row = Mapping[str, Any]
_PLACE = ("building", "floor", "space", "panel", "port")


@dataclass(frozen=True)
class JobLink:
    """One link of a job. record: row of the catalogue that decides for it; None where none does. why: why none does, or
    why it is in doubt. first_tested: ISO 8601.
    due_on, place: as scheduled.
    """

    result: LinkResult
    record: Row | None = None
    why: str = ""
    first_tested: str = ""
    due_on: str = ""
    place: Mapping[str, str] = field(default_factory=dict)

    @property
    def label(self) -> str:
        """Its label, as scheduled or else as tested."""
        return self.result.label


@dataclass(frozen=True)
class Progress:
    """A job. links: in the order of the schedule, then those beyond it; notes: look-alikes, in words."""

    job: str
    links: Sequence[JobLink]
    counts: LinkCounts
    notes: Sequence[str] = ()
    role: Role = "accepted"

    def plain(self) -> dict[str, Any]:
        """As one JSON document; sums: lines of reconciliation in words."""
        told = {"sums": count_text.sums(self.counts), "notes": list(self.notes), "complete": self.counts.complete}
        return {"job": self.job, "role": self.role, **self.counts.plain(), **told}


def progress(archive: Archive, job: str, *, today: date | None = None, role: Role = "accepted") -> Progress:
    """The links of a job. today: the day on which lateness is judged; by default the day it is. role: of the records
    that decide."""
    archive.catch_up()
    schedule = ScheduledLinks(list(latest_schedule(archive, job).values()))
    tested = [x for x in _tested(archive, job, role) if x.result.tested or schedule.label_of(x.label) is not None]
    day = (today or date.today()).isoformat()
    # A label that is there to the letter goes before one that means the same link.
    by_name = {schedule.label_of(x.label): x for x in sorted(tested, key=lambda x: x.label in schedule.rows)}
    links = [_scheduled(label, row, by_name.get(label), day) for label, row in schedule.rows.items()]
    for x in tested:
        name = schedule.label_of(x.label)
        if name is None:
            links.append(x)
        elif by_name[name] is not x:
            links.append(replace(x, result=replace(x.result, further_side=True)))
    results = one_of_copies([x.result for x in links])
    links = [replace(x, result=r) for x, r in zip(links, results, strict=True)]
    return Progress(job, links, LinkCounts(results, bool(schedule.rows)), _look_alikes(links), role)


def counts_of(archive: Archive, chosen: Filters, role: Role = "accepted") -> LinkCounts | None:
    """The counts of the links that are chosen, where that is one whole job; else None."""
    whole = chosen.job is not None and chosen == Filters(job=chosen.job)
    return progress(archive, str(chosen.job), role=role).counts if whole else None


def link_of_job(archive: Archive, job: str, link: str, role: Role = "accepted") -> JobLink | None:
    """One link of a job, without regard to the others: never late. None where it has no test there."""
    return next(iter(_tested(archive, job, role, link)), None)


def latest_schedule(archive: Archive, job: str) -> dict[str, dict[str, Any]]:
    """Lines of a job's schedule as it is now, by label; empty where none was deposited.

    A list that names links of the schedule replaces it; one that names none of them adds to it. Earlier versions of
    this program stored only the lines that were new, so theirs always add.
    """
    held: dict[str, dict[str, Any]] = {}
    rows = archive.db.execute(
        "SELECT s.* FROM schedule s JOIN (SELECT number, max(coalesce(version, '')) AS version FROM schedule "
        "WHERE job_id = ?1 GROUP BY number) l ON l.number = s.number AND l.version = coalesce(s.version, '') "
        "WHERE s.job_id = ?1 ORDER BY s.number, s.link_label",
        (job,),
    )
    for _, lines in groupby(rows, key=lambda r: r["number"]):
        listed = {r["link_label"]: dict(r) for r in lines}
        whole = next(iter(listed.values()))["whole"]
        held = listed if whole and held.keys() & listed.keys() else held | listed
    return dict(sorted(held.items()))


def _tested(archive: Archive, job: str, role: Role, only: str | None = None) -> list[JobLink]:
    """Links of which the job has a record that was neither withdrawn nor read again, by label. only: one link."""
    rows = archive.db.execute(
        f"SELECT {SHOWN} FROM records WHERE job_id = ?1 AND link_label IS NOT NULL AND {COUNTED} "
        "AND NOT withdrawn AND NOT replaced AND (?2 IS NULL OR link = ?2) ORDER BY link_label",
        (job, only),
    ).fetchall()
    by_link: dict[str, list[dict[str, Any]]] = defaultdict(list)
    for r in rows:
        by_link[r["link"]].append(dict(r))
    return [_link(archive, members, role) for members in by_link.values()]


def _link(archive: Archive, rows: list[dict[str, Any]], role: Role) -> JobLink:
    """A link by its records in the job: what the record comes to that decides for it in a role.

    Without one it is in conflict or in doubt where its records are; else none of its tests was there to be accepted.
    """
    label, tests = str(rows[0]["link_label"]), sum(r["unit"] is not None for r in rows)
    unit = "accepted_unit" if role == "accepted" else "unit"
    decides = next((r for r in rows if r[unit] == r["row"]), None) or _elsewhere(archive, rows, unit)
    first = min((when for r in rows if (when := _when(r))), default="")
    doubt = next((r["doubt"] for r in rows if r["doubt"]), "")
    if decides is not None:
        result = link_result(label, [record_result(decides)])
        result = replace(result, tests=tests, later_lesser_fails=int(decides["lesser_fails"] or 0))
        if doubt:
            result = replace(LinkResult(label, IN_DOUBT), tests=tests)
        return JobLink(replace(result, copy_of=_copied_from(archive, decides)), decides, doubt, first)
    whys = {s.why for s in link_states(archive.db, rows).values() if not s.live}
    outcome = IN_CONFLICT if any(r["conflict"] for r in rows) else IN_DOUBT if whys or doubt else MISSING
    why = "; ".join(sorted(whys)) or doubt or "no test of it was made by the day of acceptance"
    return JobLink(LinkResult(label, outcome, tests=tests), None, why, first)


def _elsewhere(archive: Archive, rows: list[dict[str, Any]], unit: str) -> dict[str, Any] | None:
    """The record of another job that decides for a link of these records; None where none does."""
    row = next((r[unit] for r in rows if r[unit] is not None), None)
    found = archive.db.execute(f"SELECT {SHOWN} FROM records WHERE row = ?", (row,)).fetchone()
    return None if found is None else dict(found)


def _copied_from(archive: Archive, row: Row) -> str:
    """Label of the link whose curves a record has; "" where they are its own."""
    if not row["copied"]:
        return ""
    found = archive.db.execute("SELECT link_label FROM records WHERE row = ?", (row["former"],)).fetchone()
    return str(found[0] or "")


def _scheduled(label: str, row: Row, tested: JobLink | None, day: str) -> JobLink:
    """A link of the schedule: late where its first test, or the day it is without one, is after the day it was due."""
    link = tested or JobLink(LinkResult(label))
    due = row["due_on"] or ""
    late = bool(due) and (link.first_tested or day)[:10] > due[:10]
    result = replace(link.result, label=label, scheduled=True, late=late)
    return replace(link, result=result, due_on=due, place={k: row[k] or "" for k in _PLACE})


def _when(r: Row) -> str:
    return str(r["tested_local"] or r["tested_at"] or "")


def _look_alikes(links: Sequence[JobLink]) -> list[str]:
    """Scheduled links without a test, of which a test under nearly the same label is there."""
    beyond: dict[str | None, list[str]] = defaultdict(list)
    for x in links:
        if not x.result.scheduled:
            beyond[fold(x.label)].append(x.label)
    return [
        f"{x.label} was not tested under this label; {', '.join(beyond[fold(x.label)])} may be the same link"
        for x in links
        if x.result.outcome == MISSING and fold(x.label) in beyond
    ]
