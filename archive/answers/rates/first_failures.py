"""Time to the first claim in service: links under watch since their warranty began, and the cases opened over them."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field
from datetime import date
from typing import Any

import numpy as np

from archive.answers.inference.survival import LEAST_EVENTS, failed_by
from archive.answers.rates.fields import GroupField, chosen
from archive.answers.rates.rates import about
from archive.answers.rates.source import Choice, CountingSource, grouped
from archive.errors import Trouble
from archive.store import Archive
from archive.store.counting.columns import BITS
from archive.store.events.cases import OPEN, cases
from archive.vocabulary.counted import counted

_YEAR = 365.25


@dataclass(frozen=True)
class FirstFailures:
    """Shares of links with a claim by so many years. rows: the fields, years, links, jobs, at_risk (still under watch
    at that age), claims, share, low and high (95 %); low is None under LEAST_EVENTS claims, where the upper limit alone
    says something."""

    fields: Sequence[GroupField]
    rows: list[dict[str, Any]]
    notes: list[str] = field(default_factory=list)
    about: str = ""

    @property
    def columns(self) -> dict[str, Any]:
        """Of the rows, also where there is none, each with a value of its kind."""
        numbers = dict.fromkeys(("years", "links", "jobs", "at_risk", "claims"), 0)
        return {f.name: f.example for f in self.fields} | numbers | dict.fromkeys(("share", "low", "high"), 0.0)

    def plain(self) -> dict[str, Any]:
        """As one JSON document."""
        return {"rows": self.rows, "notes": self.notes, "about": self.about}


def first_failures(
    archive: Archive,
    years: int,
    by: Iterable[str] = (),
    choice: Choice | None = None,
    *,
    today: date | None = None,
    watch: Callable[[Iterable[int]], Iterable[int]] = iter,
) -> FirstFailures:
    """Share of links with a claim by one to `years` years after the warranty of their job began, or else their test.

    today: last day under watch; by default the day it is. Errors: Trouble for a word that there is not.
    """
    choice, last = choice or Choice(), today or date.today()
    fields = chosen(by, choice.length_edges)
    if any(not f.sql for f in fields):
        raise Trouble("claims are of whole links", code="rates.not-a-filter", remedy="leave parameter out of --by")
    source = CountingSource.of(archive, watch)
    source.refuse_unknown(choice)
    begun = {
        str(j): str(v) for j, v in archive.db.execute("SELECT job_id, value FROM jobs WHERE field = 'warranty_start'")
    }
    claimed: dict[str, date] = {}
    lost = 0
    for case in cases(archive):
        day = _day(case.day_of(OPEN))
        if case.key is None or day is None:
            lost += 1
            continue
        claimed[case.key] = min(day, claimed.get(case.key, day))
    groups: dict[tuple[Any, ...], list[tuple[float, bool, str]]] = {}
    undated = 0
    for key, link, job, tested in _links(source, choice, fields):
        start = _day(begun.get(job)) or _day(tested)
        if start is None or start > last:
            undated += 1
            continue
        end = claimed.get(link)
        failed = end is not None and start <= end <= last
        watched = ((end if failed and end is not None else last) - start).days / _YEAR
        groups.setdefault(key, []).append((watched, failed, job))
    rows = [
        {**{f.name: f.shown(v) for f, v in zip(fields, key, strict=True)}, **row}
        for key in sorted(groups, key=lambda k: tuple((v is None, v) for v in k))
        for row in _rows(groups[key], years)
    ]
    notes = ["claims are what was claimed, not all that failed: nobody reports every fault"]
    if undated:
        notes.append(f"left out: {counted(undated, 'link')} without a day from which it was under watch")
    if lost:
        notes.append(f"left out: {counted(lost, 'case')} of no link of the archive, or without a day")
    return FirstFailures(fields, rows, notes, about(source, choice))


def _links(
    source: CountingSource, choice: Choice, fields: Sequence[GroupField]
) -> Iterable[tuple[tuple[Any, ...], str, str, str | None]]:
    """Group, link, job and day of the current test; each link once."""
    if not source.files.records:
        return
    columns, _ = grouped(fields)
    where, values = choice.where()
    seen = set()
    for *key, link, job, tested in source.rows(
        f"SELECT {columns}coalesce(r.link, CAST(r.unit AS VARCHAR)), coalesce(r.job_id, ''), "
        f"coalesce(r.tested_local, r.tested_at) FROM {source.records} r WHERE {where} AND "
        f"{choice.state} & {BITS['current']} > 0 ORDER BY r.row",
        values,
    ):
        if link not in seen:
            seen.add(link)
            yield tuple(key), link, job, tested


def _rows(links: Sequence[tuple[float, bool, str]], years: int) -> list[dict[str, Any]]:
    jobs = {job: i for i, job in enumerate(sorted({job for _, _, job in links}))}
    watched = np.array([w for w, _, _ in links])
    failed = np.array([f for _, f, _ in links])
    of = np.array([jobs[job] for _, _, job in links])
    out = []
    for at in range(1, years + 1):
        found = failed_by(watched, failed, of, float(at))
        if not found.at_risk:
            break
        out.append(
            {
                "years": at,
                "links": len(links),
                "jobs": len(jobs),
                "at_risk": found.at_risk,
                "claims": found.events,
                "share": found.share,
                "low": found.low if found.events >= LEAST_EVENTS else None,
                "high": found.high,
            }
        )
    return out


def _day(text: str | None) -> date | None:
    try:
        return date.fromisoformat(text[:10]) if text else None
    except ValueError:
        return None
