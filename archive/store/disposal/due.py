"""Which jobs are past their retention, and what forbids to dispose of their records."""

from __future__ import annotations

import json
from collections import defaultdict
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from datetime import date
from functools import cached_property
from typing import Any

from archive.errors import Trouble
from archive.store import disposed, layout
from archive.store.archive import Archive
from archive.store.events.cases import Case, cases
from archive.store.events.hold import holds
from archive.store.records import DECIDED

_RESTS_ON = tuple(kind for kind in DECIDED if kind != "retests")
"""Kinds of records that are what they are by another one. A retest is a test of its own."""


@dataclass(frozen=True)
class Hindrance:
    """One thing that forbids a disposal. what: retention, warranty, hold, case, shared, rested-on, unread or apart."""

    what: str
    text: str


@dataclass(frozen=True)
class DisposableJob:
    """A job as far as disposal goes. deposits: in the order of the ledger; until: last day of its retention; proposal:
    number of the ledger entry in which somebody named it, where it holds these deposits still."""

    job: str
    until: str | None
    warranty_end: str | None
    deposits: tuple[str, ...]
    records: int
    hindrances: tuple[Hindrance, ...] = field(default=())
    proposal: int | None = None

    @property
    def over(self) -> bool:
        """Whether the retention is over, whatever else forbids."""
        return not any(h.what == "retention" for h in self.hindrances)

    @property
    def free(self) -> bool:
        """Whether nothing forbids the disposal."""
        return not self.hindrances

    def plain(self) -> dict[str, Any]:
        """As JSON."""
        return {
            "job": self.job,
            "retain_until": self.until,
            "warranty_end": self.warranty_end,
            "deposits": list(self.deposits),
            "records": self.records,
            "may_be_disposed_of": self.free,
            "forbidden_by": [{"what": h.what, "text": h.text} for h in self.hindrances],
            "proposed_by_entry": self.proposal,
        }


def due(archive: Archive, on: date) -> list[DisposableJob]:
    """Every job with records or deposits, by name, as of a day."""
    look = _DisposalLook(archive, on)
    return [look.job(job) for job in sorted(look.deposits)]


def one_job(archive: Archive, job: str, on: date) -> DisposableJob:
    """One of them. Errors: Trouble where the archive holds nothing of such a job."""
    look = _DisposalLook(archive, on)
    if job not in look.deposits:
        raise Trouble(
            "the archive holds no records of this job",
            code="disposal.no-job",
            where=str(archive.root),
            found=job,
            remedy=disposed.remedy(archive.db, job) or "check the job's name",
        )
    return look.job(job)


class _DisposalLook:
    """What the archive says, asked once for all jobs."""

    def __init__(self, archive: Archive, on: date) -> None:
        archive.catch_up()
        self._archive, self._on = archive, on.isoformat()
        self._db = archive.db

    def job(self, job: str) -> DisposableJob:
        facts = dict(self._db.execute("SELECT field, value FROM jobs WHERE job_id = ?", (job,)).fetchall())
        deposits = tuple(self.deposits[job])
        until, warranty = facts.get("retain_until"), facts.get("warranty_end")
        found = [*self._days(until, facts), *self._kept(job, deposits)]
        if not found:  # what takes longer to look at
            found = [*self._rested_on(deposits), *self._apart(deposits)]
        marks = ", ".join("?" * len(deposits))
        count = self._db.execute(f"SELECT count(*) FROM records WHERE deposit IN ({marks})", deposits).fetchone()[0]
        return DisposableJob(job, until, warranty, deposits, count, tuple(found), self._proposal(job, deposits))

    @cached_property
    def deposits(self) -> dict[str, list[str]]:
        """Deposits by job: those made for it, and those that hold a record of it."""
        rows = self._db.execute(
            "SELECT d.number, d.deposit, d.job_id FROM deposits d UNION "
            "SELECT d.number, d.deposit, r.job_id FROM records r JOIN deposits d ON d.deposit = r.deposit ORDER BY 1"
        )
        found: dict[str, list[str]] = defaultdict(list)
        for _, deposit, job in rows.fetchall():
            if job and deposit not in self._disposed:
                found[job].append(deposit)
        return found

    @cached_property
    def _disposed(self) -> set[str]:
        return disposed.deposits(self._db)

    def _days(self, until: str | None, facts: dict[str, str]) -> Iterator[Hindrance]:
        if until is None:
            yield Hindrance("retention", "no day of retention is stated")
        elif not _day(until):
            yield Hindrance("retention", f"the day of retention is none: {until}")
        elif until >= self._on:
            yield Hindrance("retention", f"to be kept until {until}")
        end = facts.get("warranty_end")
        if end is None and "warranty_start" in facts:
            yield Hindrance("warranty", f"a warranty began on {facts['warranty_start']}, and its end is not stated")
        elif end is not None and not _day(end):
            yield Hindrance("warranty", f"the end of the warranty is no day: {end}")
        elif end is not None and end >= self._on:
            yield Hindrance("warranty", f"under warranty until {end}")

    def _kept(self, job: str, deposits: tuple[str, ...]) -> Iterator[Hindrance]:
        """Holds, open cases, other jobs in the same deposits, events that cannot be read."""
        if job in self._held:
            yield Hindrance("hold", f"under a legal hold, ledger entry {self._held[job]}")
        for case in self._open_cases:
            if self._about(case, job, deposits):
                yield Hindrance("case", f"case {case.name} is not closed")
        others = {j for d in deposits for j in self._jobs_of[d]} - {job}
        if others:
            named = ", ".join(sorted(j or "no job" for j in others))
            yield Hindrance("shared", f"its deposits hold records of {named}, too")
        for event in self._archive.unread():
            if event.jobs is None or job in event.jobs or event.deposit is not None:  # it may rest on this one
                yield Hindrance("unread", str(event))

    def _about(self, case: Case, job: str, deposits: tuple[str, ...]) -> bool:
        """Whether a case is of a job; one that names neither job nor record may be of any."""
        stated, deposit = case.last("job_id"), case.address.rpartition("/")[0]
        return job == stated or deposit in deposits or (stated is None and not deposit)

    def _rested_on(self, deposits: tuple[str, ...]) -> Iterator[Hindrance]:
        """Deposits that stay and rest on one of these: for the bytes of their originals, or as another test's copy."""
        mine = set(deposits)
        found = {other: name for name in deposits for other in self._kept_in[name] - mine}
        marks, kinds = ", ".join("?" * len(deposits)), ", ".join("?" * len(_RESTS_ON))
        rows = self._db.execute(
            "SELECT DISTINCT r.deposit, f.deposit FROM records r JOIN records f ON f.row = r.former "
            f"WHERE f.deposit IN ({marks}) AND r.kind IN ({kinds})",
            (*deposits, *_RESTS_ON),
        )
        found |= {r[0]: r[1] for r in rows.fetchall() if r[0] not in mine}
        for other, name in sorted(found.items()):
            yield Hindrance("rested-on", f"deposit {other} rests on {name}")

    def _apart(self, deposits: tuple[str, ...]) -> Iterator[Hindrance]:
        """Bytes of these bags that a repair has set apart."""
        damaged = self._archive.root / layout.ASIDE / "damaged" / layout.DEPOSITS
        for name in deposits:
            for place in damaged.glob(f"*/{name}*"):
                inside = place.relative_to(self._archive.root).as_posix()
                yield Hindrance("apart", f"a repair has set bytes of it apart in {inside}: take them away first")

    def _proposal(self, job: str, deposits: tuple[str, ...]) -> int | None:
        row = self._db.execute(
            "SELECT number, deposits FROM disposal_proposals WHERE job_id = ? "
            "AND id NOT IN (SELECT proposal FROM disposals) ORDER BY number DESC",
            (job,),
        ).fetchone()
        return int(row[0]) if row is not None and json.loads(row[1]) == list(deposits) else None

    @cached_property
    def _held(self) -> dict[str, int]:
        return {h["job"]: h["number"] for h in holds(self._archive)}

    @cached_property
    def _open_cases(self) -> list[Case]:
        return [c for c in cases(self._archive) if c.state != "closed"]

    @cached_property
    def _jobs_of(self) -> dict[str, set[str | None]]:
        """Jobs of a deposit's records, and the one that it was made for."""
        found: dict[str, set[str | None]] = defaultdict(set)
        for deposit, job in self._db.execute("SELECT DISTINCT deposit, job_id FROM records").fetchall():
            found[deposit].add(job)
        for deposit, job in self._db.execute("SELECT deposit, job_id FROM deposits").fetchall():
            if job or not found[deposit]:
                found[deposit].add(job)
        return found

    @cached_property
    def _kept_in(self) -> dict[str, set[str]]:
        """Deposits whose originals lie in the bag of another, by that other."""
        found: dict[str, set[str]] = defaultdict(set)
        for name in _names(self._db.execute("SELECT deposit FROM deposits ORDER BY number").fetchall()):
            if name in self._disposed:
                continue
            entry = self._archive.deposit_entry(name)
            said = self._archive.texts(entry).get("originals", [])
            for other in {*(o.get("kept_in") for o in said), entry.get("originals_in")} - {None, name}:
                found[str(other)].add(name)
        return found


def _names(rows: Iterable[Any]) -> list[str]:
    return [str(r[0]) for r in rows]


def _day(text: str) -> bool:
    try:
        return date.fromisoformat(text).isoformat() == text
    except ValueError:
        return False
