"""How far a job is: what each of its links comes to, by which record, and what the schedule says of it.

The record that decides for a link is the one that was accepted in the job, or the current one: store.roles says which.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date
from typing import Any

from archive.answers import count_text
from archive.answers.job_schedule import latest_schedule
from archive.store import Archive, identity
from archive.store.catalogue.filters import Filters
from archive.store.catalogue.search import SHOWN
from archive.store.catalogue.standing_columns import fold, link_states
from archive.store.records import COUNTED
from archive.store.roles import Role
from archive.validation.look.scheduled_links import LineKey, ScheduledLinks
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
from archive.vocabulary.places import said
from archive.vocabulary.role_reasons import reason

Row = Mapping[str, Any]
_PLACE = ("building", "floor", "space", "panel", "port")


@dataclass(frozen=True)
class JobLink:
    """One link of a job. record: row of the catalogue that decides for it; None where none does. why: why none does, or
    why it is in doubt. first_tested: ISO 8601.
    due_on, place: as scheduled. tested_place: of its tests in the job. between: why it is not known of which of several
    scheduled places it is.
    """

    result: LinkResult
    record: Row | None = None
    why: str = ""
    first_tested: str = ""
    due_on: str = ""
    place: Mapping[str, str] = field(default_factory=dict)
    tested_place: identity.Place = ()
    between: str = ""

    @property
    def label(self) -> str:
        """Its label, as scheduled or else as tested."""
        return self.result.label


@dataclass(frozen=True)
class Progress:
    """A job. links: in the order of the schedule, then those beyond it; notes: the role and look-alikes, in words."""

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
    archive.rest_on([job])
    schedule = ScheduledLinks(list(latest_schedule(archive, job).values()))
    found = _tested(archive, job, role)
    day = (today or date.today()).isoformat()
    at_line: dict[LineKey, JobLink] = {}
    beyond: list[tuple[JobLink, LineKey | None]] = []
    # A link that was tested goes before one that was not, a label that is there to the letter before one that means it.
    for x in sorted(found, key=lambda x: (x.result.tested, schedule.has(x.label))):
        lines = schedule.candidates(x.label, x.tested_place)
        x = _placed(x, schedule, lines)
        if len(lines) == 1:
            if lines[0] in at_line and at_line[lines[0]].result.tested:
                beyond.append((at_line[lines[0]], lines[0]))
            at_line[lines[0]] = x
        elif x.result.tested:
            beyond.append((x, None))
    links = [_scheduled(key[0], row, at_line.get(key), day) for key, row in schedule.lines.items()]
    further = [x if key is None else replace(x, result=replace(x.result, further_side=True)) for x, key in beyond]
    links += sorted(further, key=lambda x: x.label)
    results = one_of_copies([x.result for x in links])
    links = [replace(x, result=r) for x, r in zip(links, results, strict=True)]
    notes = [*_roles(found, role), *_look_alikes(links), *_at_places(links, schedule)]
    return Progress(job, links, LinkCounts(results, bool(schedule.lines)), notes, role)


def counts_of(archive: Archive, chosen: Filters, role: Role = "accepted") -> LinkCounts | None:
    """The counts of the links that are chosen, where that is one whole job; else None."""
    whole = chosen.job is not None and chosen == Filters(job=chosen.job)
    return progress(archive, str(chosen.job), role=role).counts if whole else None


def link_of_job(archive: Archive, job: str, link: str, role: Role = "accepted") -> JobLink | None:
    """One link of a job, without regard to the others: never late. None where it has no test there."""
    found = next(iter(_tested(archive, job, role, link)), None)
    if found is None:
        return None
    schedule = ScheduledLinks(list(latest_schedule(archive, job).values()))
    return _placed(found, schedule, schedule.candidates(found.label, found.tested_place))


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
    at = identity.joined(rows)
    if decides is not None:
        result = link_result(label, [record_result(decides)])
        result = replace(result, tests=tests, later_lesser_fails=int(decides["lesser_fails"] or 0))
        if doubt:
            result = replace(LinkResult(label, IN_DOUBT), tests=tests)
        return JobLink(replace(result, copy_of=_copied_from(archive, decides)), decides, doubt, first, tested_place=at)
    whys = {s.why for s in link_states(archive.db, rows).values() if not s.live}
    outcome = IN_CONFLICT if any(r["conflict"] for r in rows) else IN_DOUBT if whys or doubt else MISSING
    why = "; ".join(sorted(whys)) or doubt or reason("none by day")
    return JobLink(LinkResult(label, outcome, tests=tests), None, why, first, tested_place=at)


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


def _placed(x: JobLink, schedule: ScheduledLinks, lines: Sequence[LineKey]) -> JobLink:
    """A tested link, in doubt where it may be of several scheduled places, or the record that decides may.

    lines: that it may be. Of none of several lines alone it is a further side of their label.
    """
    own = schedule.candidates(x.label, identity.place(x.record)) if x.record is not None else []
    several = lines if len(lines) >= len(own) else own
    if len(several) < 2 or not x.result.tested:
        return x
    why = _between(x, [schedule.lines[k] for k in several])
    result = replace(LinkResult(x.label, IN_DOUBT), tests=x.result.tests, further_side=len(lines) > 1)
    return replace(x, result=result, why="; ".join(w for w in (x.why, why) if w), between=why)


def _between(x: JobLink, lines: Sequence[Row]) -> str:
    """Why it is in doubt which of several lines of the schedule a link is, and what resolves it."""
    at = identity.place(x.record) if x.record is not None else x.tested_place
    of_lines = [identity.place(line) for line in lines]
    open_parts = [n for i, n in enumerate(identity.PLACE) if not at[i] and len({p[i] for p in of_lines if p[i]}) > 1]
    listed = "; ".join(said(line) or "no stated place" for line in lines)
    if not open_parts:
        return (
            f"this label is scheduled at {len(lines)} places ({listed}) that do not say enough to tell which of them "
            "the test is of; hand in a schedule that does"
        )
    which = "--link LABEL --job JOB" if x.record is None else f"--record {x.record['record_id']}"
    sets = " ".join(f"--set {n}=..." for n in open_parts)
    return (
        f"the test names no {' or '.join(open_parts)}, and this label is scheduled at {len(lines)} places ({listed}), "
        f"so which of them it is of is in doubt; give it with `muniment amend ARCHIVE {which} {sets}`"
    )


def _at_places(links: Sequence[JobLink], schedule: ScheduledLinks) -> list[str]:
    """Of labels that are scheduled at several places: what was not tested where, and what is in doubt."""
    notes = []
    maybe = {
        k for x in links if x.result.outcome == IN_DOUBT for k in schedule.candidates(x.label, x.tested_place)
    }  # of these it cannot be said that they were not tested
    for x in links:
        if schedule.places(x.label) < 2:
            continue
        where = said(x.place if x.result.scheduled else x.record or {})
        if x.result.outcome == MISSING:
            if (x.label, *identity.place(x.place)) in maybe:
                continue
            notes.append(f"{x.label} at {where or 'no stated place'} was not tested")
        elif x.result.outcome == IN_DOUBT:
            notes.append(f"{x.label} at {where}: {x.why}" if where else f"{x.label}: {x.why}")
        elif not (x.result.scheduled or x.result.further_side):
            notes.append(f"{x.label} was tested at {where or 'another place'}, where it is not scheduled")
    return notes


def _when(r: Row) -> str:
    return str(r["tested_local"] or r["tested_at"] or "")


def _roles(links: Sequence[JobLink], role: Role) -> list[str]:
    """Links of which another record decides in the other role, or that were tested but not by the day of acceptance."""
    if role == "current":
        return []
    other = [x.label for x in links if x.record is not None and x.record["unit"] != x.record["row"]]
    late = [x.label for x in links if x.result.outcome == MISSING and x.first_tested]
    told = "counted by the accepted record of each link"
    if other:
        told += f"; the current one is another for {len(other)}: {', '.join(other)}"
    if late:
        have = "has" if len(late) == 1 else "have"
        told += f"; {len(late)} {have} none, being tested only after the day of acceptance: {', '.join(late)}"
    return [told] if other or late else []


def _look_alikes(links: Sequence[JobLink]) -> list[str]:
    """Scheduled links without a test, of which a test under nearly the same label is there."""
    beyond: dict[str | None, list[str]] = defaultdict(list)
    for x in links:
        if not x.result.scheduled:
            beyond[fold(x.label)].append(x.label)
    return [
        f"{x.label} was not tested under this label; {', '.join(others)} may be the same link"
        for x in links
        if x.result.outcome == MISSING and (others := [y for y in beyond.get(fold(x.label), ()) if y != x.label])
    ]
