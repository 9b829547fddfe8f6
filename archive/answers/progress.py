"""How far a job is: its schedule against everything that has been deposited for it, whenever that came."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date
from typing import Any

from archive.store import Archive
from archive.store.catalogue.standing_columns import fold


@dataclass(frozen=True)
class LinkState:
    """One link of a job. record: the row of the catalogue that answers for it, None where there is none."""

    label: str
    scheduled: bool
    record: dict[str, Any] | None
    due_on: str | None = None
    required_limit: str | None = None
    place: dict[str, Any] = field(default_factory=dict)

    @property
    def verdict(self) -> str:
        """pass, fail, not graded, or not tested."""
        return "not tested" if self.record is None else self.record["verdict"] or "not graded"


@dataclass(frozen=True)
class Progress:
    """A job in numbers. scheduled: None where no schedule was deposited. notes: look-alikes and the like, in words."""

    job: str
    scheduled: int | None
    links: list[LinkState]
    late: list[str]
    notes: list[str]

    @property
    def missing(self) -> list[str]:
        """Scheduled and not tested."""
        return [x.label for x in self.links if x.scheduled and x.record is None]

    @property
    def unexpected(self) -> list[str]:
        """Tested and not scheduled; empty where there is no schedule."""
        return [] if self.scheduled is None else [x.label for x in self.links if not x.scheduled]

    def count(self, verdict: str) -> int:
        """Number of links with a verdict."""
        return sum(1 for x in self.links if x.verdict == verdict)

    @property
    def complete(self) -> bool:
        """Whether every link is tested and passes, and none is left over."""
        return all(x.verdict == "pass" for x in self.links) and not self.unexpected and bool(self.links)

    def plain(self) -> dict[str, Any]:
        """As one JSON document."""
        tested = [x for x in self.links if x.record is not None]
        return {
            "job": self.job,
            "scheduled": self.scheduled,
            "tested": len(tested),
            "passing": self.count("pass"),
            "failing": self.count("fail"),
            "not_graded": self.count("not graded"),
            "marginal": sum(1 for x in tested if x.record and x.record["marginal"]),
            "provisional": sum(1 for x in tested if x.record and x.record["provisional"]),
            "missing": self.missing,
            "unexpected": self.unexpected,
            "late": self.late,
            "notes": self.notes,
            "complete": self.complete,
        }


_COLUMNS = (
    "link_label, record_id, deposit || '/' || position AS address, verdict, marginal, provisional, tested_local, "
    "tested_at, limit_id, limit_found, reported_verdict, evidence, margin, parameter, length_m, cable_type, "
    "local_serial, remote_serial, deposit, digest"
)


def progress(archive: Archive, job: str, *, today: date | None = None) -> Progress:
    """Progress of a job. today: the day on which lateness is judged; by default the day it is."""
    archive.catch_up()
    day = (today or date.today()).isoformat()
    answers = _answers(archive, job)
    scheduled = latest_schedule(archive, job)
    links, notes = [], []
    used: set[str] = set()
    by_fold: dict[str, list[str]] = {}
    for label in answers:
        by_fold.setdefault(fold(label) or "", []).append(label)
    for label, row in scheduled.items():
        found = answers.get(label)
        used.add(label)
        if found is None:
            near = [x for x in by_fold.get(fold(label) or "", []) if x not in scheduled]
            if near:
                notes.append(f"{label} was not tested under this label; {', '.join(near)} may be the same link")
        place = {k: row[k] for k in ("building", "floor", "space", "panel", "port")}
        links.append(LinkState(label, True, found, row["due_on"], row["required_limit"], place))
    links.extend(LinkState(label, False, r) for label, r in answers.items() if label not in used)
    late = [x.label for x in links if x.due_on and _late(x, day)]
    return Progress(job, len(scheduled) if scheduled else None, links, late, notes)


def latest_schedule(archive: Archive, job: str) -> dict[str, dict[str, Any]]:
    """Lines of the latest version of a job's schedule by label; empty where none was deposited."""
    newest = archive.db.execute("SELECT max(number) FROM schedule WHERE job_id = ?", (job,)).fetchone()[0]
    version = archive.db.execute(
        "SELECT max(coalesce(version, '')) FROM schedule WHERE job_id = ? AND number = ?", (job, newest)
    ).fetchone()[0]
    rows = archive.db.execute(
        "SELECT * FROM schedule WHERE job_id = ? AND coalesce(version, '') = ? ORDER BY link_label",
        (job, version or ""),
    )
    return {r["link_label"]: dict(r) for r in rows}


def _answers(archive: Archive, job: str) -> dict[str, dict[str, Any]]:
    """The accepted record of each link of a job."""
    rows = archive.db.execute(
        f"SELECT {_COLUMNS} FROM records WHERE job_id = ? AND accepted_unit = row AND link_label IS NOT NULL "
        "ORDER BY link_label, evidence = 'full-sweep', coalesce(verdict, '') IN ('pass', 'fail'), "
        "coalesce(tested_local, tested_at, '')",
        (job,),
    )
    return {r["link_label"]: dict(r) for r in rows}


def _late(link: LinkState, day: str) -> bool:
    """Tested after its day, or not tested though its day is over."""
    tested = (link.record or {}).get("tested_local") if link.record else day
    return bool(link.due_on) and str(tested or "")[:10] > str(link.due_on)[:10]
