"""Which record of a link counts, in two roles.

accepted  the record on which a job was handed over: the latest complete test of the link within the job on or before
          the job's day of acceptance (or else the start of its warranty), or the one that a person named; where neither
          day is known, the latest complete test within the job
current   the latest complete test over all jobs, by test time, not by arrival
Both per configuration and limit family, and neither withdrawn nor in conflict. A later fail counts over an earlier
pass. Completeness is ranked by what a record covers, never by its verdict; less evidence never displaces more, and a
later failing test of less evidence is counted beside the record that counts. An optical trace (tier 2) is less evidence
than a loss test (tier 1), under whatever limit it was graded: it never decides where a loss test is.
Of several families one record decides for the link: that of the limit which the job requires; without one, a failing
record before one that is not graded, and that before a passing one.
Rows are those of `records` in the catalogue: mappings with NEEDED.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from typing import Any, Literal

from archive.vocabulary.link_counts import REGRADED, verdict_that_counts
from archive.vocabulary.role_reasons import reason

Row = Mapping[str, Any]
Family = tuple[str | None, str | None]
Role = Literal["accepted", "current"]

NEEDED = (
    "row",
    "link",
    "record_id",
    "job_id",
    "kind",
    "former",
    "withdrawn",
    "replaced",
    "evidence",
    "points",
    "step",
    "verdict",
    "reported_verdict",
    "covers_from_mhz",
    "covers_to_mhz",
    "configuration",
    "limit_id",
    "tested_local",
    "tested_at",
    "length_m",
)
"""Columns that states() needs."""

_TRACE = "optical-trace"
_EVIDENCE = {**dict.fromkeys(REGRADED, 3), _TRACE: 2, "worst-points": 1, "verdict-only": 0}
_KNOWN_ALREADY = ("same_file", "same_content")
_WORST_FIRST = {"fail": 0, None: 1, "pass": 2}


@dataclass(frozen=True)
class Acceptance:
    """How a job was accepted. day: ISO 8601, None where none is known; basis: "stated", "start of the warranty" or "".

    family: configuration and category of the limit that the job requires; None where it requires none.
    """

    day: str | None = None
    basis: str = ""
    family: Family | None = None


@dataclass(frozen=True)
class RecordState:
    """Of one record: whether it counts at all, which roles it has, and why or why not, in a sentence.

    unit: row of the current record that decides for the link; None where this one does not count. accepted_unit: the
    same of the record accepted in this one's job; None where none is. first: it is the first test, by test time, that
    failed or was complete. tests: tests that count, on the record that decides; else 0. lesser_fails: later failing
    tests of less evidence than this current or accepted record. conflict: it is one of several contents of one test.
    copied: its curves are those of another link's record that counts.
    """

    live: bool
    why: str
    current: bool = False
    accepted: bool = False
    why_accepted: str = ""
    unit: int | None = None
    accepted_unit: int | None = None
    first: bool = False
    tests: int = 0
    lesser_fails: int = 0
    conflict: bool = False
    copied: bool = False


@dataclass
class _Working:
    """States that are being worked out, and the records of a link that are still in question."""

    rows: Mapping[int, Row]
    out: dict[int, RecordState] = field(default_factory=dict)
    left: dict[int, Row] = field(default_factory=dict)

    def drop(self, row: Row, why: str, *, conflict: bool = False) -> None:
        """A record that does not count."""
        self.out[row["row"]] = RecordState(False, why, conflict=conflict)
        del self.left[row["row"]]


def states(
    rows: Iterable[Row],
    acceptances: Mapping[str | None, Acceptance] | None = None,
    named: Mapping[int, int] | None = None,
) -> dict[int, RecordState]:
    """State of each record of one link, by row.

    rows: all records of the link, and those that they refer to. acceptances: of jobs, by job_id; a job that is not
    there has no day and requires nothing. named: rows that a person named as accepted, with the number of the ledger
    entry: of several the last holds.
    """
    work = _Working({r["row"]: r for r in rows})
    for r in work.rows.values():
        if why := _out(r):
            work.out[r["row"]] = RecordState(False, why)
        else:
            work.left[r["row"]] = r
    _settle(work)
    links: dict[Any, list[Row]] = defaultdict(list)
    for r in work.left.values():
        links[r["link"]].append(r)
    for link in links.values():
        _of_link(work, link, acceptances or {}, named or {})
    return work.out


def outcome(row: Row) -> str | None:
    """pass or fail by this program's verdict where curves came along, by the instrument's where none did; else None."""
    return verdict_that_counts(row["evidence"], row["verdict"], row["reported_verdict"])


def family(row: Row) -> Family:
    """Configuration, and category or class of the limit, whatever its edition."""
    parts = (row["limit_id"] or "").split("/")
    category = parts[1] if len(parts) > 1 else None
    return row["configuration"] or (parts[2] if len(parts) > 2 else None), category


def richness(row: Row) -> tuple[int, float, int, float]:
    """Evidence, band covered (MHz), points, fineness of the numbers: the larger is the richer."""
    return *coverage(row), int(row["points"] or 0), -float(row["step"] or 0.0)


def coverage(row: Row) -> tuple[int, float]:
    """How complete a record is: kind of evidence, and the band that every required parameter covers, in whole MHz.

    The verdict has no part in it: a failing sweep with a gap is as incomplete as a passing one.
    """
    low, high = row["covers_from_mhz"], row["covers_to_mhz"]
    rank = _EVIDENCE.get(row["evidence"], 0)
    swept = rank == _EVIDENCE["full-sweep"] and low is not None and high is not None
    return rank, float(round(high - low)) if swept else 0.0


def _out(row: Row) -> str:
    if row["withdrawn"]:
        return reason("withdrawn")
    if row["replaced"]:
        return reason("read again")
    if row["kind"] in _KNOWN_ALREADY:
        return reason("here already")
    said = ("reported_verdict", "tested_local", "tested_at", "points", "length_m")
    silent = row["evidence"] == "verdict-only" and not any(row[name] for name in said)
    return reason("silent") if silent else ""


def _settle(work: _Working) -> None:
    """Takes out renditions that are not the richest, conflicts, and tests under a second label."""
    for group in _joined(work.left, work.left, "renditions"):
        best = max(group, key=lambda r: (richness(r), -r["row"]))
        for r in group:
            if r is not best:
                work.drop(r, reason("rendition", record=best["record_id"]))
    for group in _joined(work.left, work.rows, "conflicts", "renditions"):
        for r in group:
            work.drop(r, reason("conflict", count=len(group) - 1), conflict=True)
    for r in list(work.left.values()):
        if r["kind"] == "relabelled" and r["former"] in work.left:
            work.drop(r, reason("relabelled"))


def _joined(left: dict[int, Row], rows: Mapping[int, Row], *kinds: str) -> list[list[Row]]:
    """Groups of two or more records among those that are left, which decisions of some kinds join.

    rows: those that do not count too: what two records have in common with a withdrawn one they have in common.
    """
    leader = {row: row for row in rows}

    def find(row: int) -> int:
        while leader[row] != row:
            row = leader[row]
        return row

    for row, r in rows.items():
        if r["kind"] in kinds and r["former"] in rows:
            leader[find(row)] = find(r["former"])
    groups: dict[int, list[Row]] = defaultdict(list)
    for row, r in left.items():
        groups[find(row)].append(r)
    return [g for g in groups.values() if len(g) > 1]


def _of_link(
    work: _Working, link: list[Row], acceptances: Mapping[str | None, Acceptance], named: Mapping[int, int]
) -> None:
    clock = "tested_at" if all(r["tested_at"] for r in link) else "tested_local"

    def when(r: Row) -> tuple[str, int]:
        return r[clock] or "", r["row"]

    groups: dict[Family, list[Row]] = defaultdict(list)
    for r in link:
        groups[family(r)].append(r)
    made = {r["row"]: RecordState(True, reason("earlier")) for r in link}
    current: list[Row] = []
    for group in groups.values():
        latest, why = _latest(group, when)
        current.append(latest)
        best = coverage(latest)
        for r in group:
            if coverage(r) < best:
                made[r["row"]] = replace(made[r["row"]], why=reason("less"))
        made[latest["row"]] = RecordState(True, why, current=True, lesser_fails=_lesser(latest, link, when))
    decides = _deciding(current, _required(current, acceptances, when), when)
    accepted: dict[str | None, list[tuple[Row, str]]] = defaultdict(list)
    for job in {r["job_id"] for r in link if r["job_id"] is not None}:
        for group in groups.values():
            chosen = _accepted(
                [r for r in group if r["job_id"] == job], acceptances.get(job, Acceptance()), named, when
            )
            if chosen is not None:
                accepted[job].append(chosen)
    of_job = {
        job: _deciding([r for r, _ in handed_over], acceptances.get(job, Acceptance()).family, when)["row"]
        for job, handed_over in accepted.items()
    }
    for handed_over in accepted.values():
        for r, why in handed_over:
            state = made[r["row"]]
            lesser = state.lesser_fails or _lesser(r, link, when)
            made[r["row"]] = replace(state, accepted=True, why_accepted=why, lesser_fails=lesser)
    same = [r for r in link if family(r) in (family(decides), (None, None)) or r is decides]
    tested = [r for r in same if coverage(r) >= coverage(decides) or _fails(r)]
    first = min(tested, key=when)
    for r in link:
        made[r["row"]] = replace(
            made[r["row"]],
            unit=decides["row"],
            accepted_unit=of_job.get(r["job_id"]),
            first=r is first,
            tests=len(same) if r is decides else 0,
            copied=r["kind"] == "copied_curves" and r["former"] in work.left,
        )
    work.out.update(made)


def _latest(group: list[Row], when: Any) -> tuple[Row, str]:
    """The record of a family that is current, and why."""
    best = max(coverage(r) for r in group)
    complete = [r for r in group if coverage(r) == best]
    if len(group) == 1:
        return group[0], reason("only trace" if group[0]["evidence"] == _TRACE else "only")
    less = len(group) - len(complete)
    key = "latest of more" if less else "latest"
    return max(complete, key=when), reason(key, count=len(complete), less=less)


def _accepted(rows: list[Row], how: Acceptance, named: Mapping[int, int], when: Any) -> tuple[Row, str] | None:
    """The accepted record of one family in one job, and why; None where no test was there to be accepted."""
    if not rows:
        return None
    if chosen := [r for r in rows if r["row"] in named]:
        return max(chosen, key=lambda r: named[r["row"]]), reason("named")
    if how.day is None:
        return _latest(rows, when)[0], reason("no day")
    there = [r for r in rows if _by(r, how.day)]
    if not there:
        return None
    full = max(coverage(r) for r in rows)
    best = max(coverage(r) for r in there)
    chosen_row = max((r for r in there if coverage(r) == best), key=when)
    basis = "by day" if how.basis == "stated" else "by warranty"
    if best < full or best[0] < _EVIDENCE["full-sweep"]:
        return chosen_row, reason(f"fullest {basis}", day=how.day)
    return chosen_row, reason(basis, day=how.day)


def _by(row: Row, day: str) -> bool:
    """Whether a test was made by a day, for sure: one without a date, or with a month alone, may have been later."""
    tested = row["tested_local"] or row["tested_at"] or ""
    latest = tested[:10] if len(tested) >= 10 else f"{tested}-99-99"[:10]
    return bool(tested) and latest <= day


def _deciding(rows: list[Row], required: Family | None, when: Any) -> Row:
    """Of one record per family, the one that decides for the link."""
    if required is not None and (wanted := [r for r in rows if fits(family(r), required)]):
        rows = wanted
    # A trace stands beside a loss test, and never in its place, whatever it says: it decides where nothing else is.
    rows = [r for r in rows if r["evidence"] != _TRACE] or rows
    return max(rows, key=lambda r: (-_WORST_FIRST[outcome(r)], when(r)))


def _required(rows: list[Row], acceptances: Mapping[str | None, Acceptance], when: Any) -> Family | None:
    """What the latest job requires of the link."""
    latest = max(rows, key=when)
    return acceptances.get(latest["job_id"], Acceptance()).family


def _fails(row: Row) -> bool:
    """Whether this program or the instrument says so, whatever the evidence."""
    return "fail" in (row["verdict"], row["reported_verdict"])


def fits(of: Family, required: Family) -> bool:
    """Whether a family is the one required, as far as that is stated."""
    return all(want is None or have == want for have, want in zip(of, required, strict=True))


def _lesser(shown: Row, link: list[Row], when: Any) -> int:
    """Later failing tests of the link of less evidence than a record."""
    return sum(
        1
        for r in link
        if when(r) > when(shown)
        and coverage(r) < coverage(shown)
        and _fails(r)
        and (r["evidence"] == _TRACE or family(r)[1] in (None, family(shown)[1]))
    )
