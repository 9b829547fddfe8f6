"""What a job, or any choice of links, comes to in numbers: every count of links is defined here, once.

The definitions in words are schemas/counts.toml; schemas/README.md prints them. A link is one label at one place.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

from archive import schemas

PASSING, FAILING, NOT_GRADED, IN_CONFLICT, IN_DOUBT = "passing", "failing", "not_graded", "in_conflict", "in_doubt"
MISSING = "missing"
OUTCOMES = (PASSING, FAILING, NOT_GRADED, IN_CONFLICT, IN_DOUBT)
"""What a tested link can come to."""
LISTED = ("missing", "unexpected", "late")
"""Counts that documents for machines give as labels."""

REGRADED = ("full-sweep", "optical-loss", "optical-trace")
"""Words of `evidence` that a record can be graded by: this program's verdict counts."""

_VERDICTS = {"pass": PASSING, "fail": FAILING}
_GRAVEST_FIRST = (FAILING, NOT_GRADED, PASSING)


@dataclass(frozen=True)
class RecordResult:
    """What one record says of its link. outcome: passing, failing or not_graded; limit_id: "" where it is not known."""

    outcome: str
    limit_id: str = ""
    marginal: bool = False
    provisional: bool = False
    by_instrument: bool = False
    by_traces: bool = False


def verdict_that_counts(evidence: str | None, verdict: str | None, reported: str | None) -> str | None:
    """The verdict on a record, "pass" or "fail", or None: this program's where curves or losses came along, which may
    not reach; else the instrument's, since a record without them can fail here but never pass."""
    said = verdict if evidence in REGRADED else reported
    return said if said in _VERDICTS else None


def record_result(row: Mapping[str, Any]) -> RecordResult:
    """The result of a record by evidence, verdict, reported_verdict, limit_id, marginal and provisional."""
    counted = verdict_that_counts(row["evidence"], row["verdict"], row["reported_verdict"])
    swept = row["evidence"] in REGRADED
    return RecordResult(
        _VERDICTS.get(counted or "", NOT_GRADED),
        row["limit_id"] or "",
        counted == "pass" and bool(row["marginal"]),
        counted is not None and swept and bool(row["provisional"]),
        counted is not None and not swept,
        counted is not None and row["evidence"] == "optical-trace",
    )


@dataclass(frozen=True)
class LinkResult:
    """What a link comes to. outcome: one of OUTCOMES, or MISSING.

    copy_of: the link of the same choice whose curves these are, "" for none. tests: how many count; later_lesser_fails:
    how many fail that are later than the record that decides and of less evidence. further_side: its label is
    scheduled, and another side of a doubt is counted as that scheduled link.
    """

    label: str
    outcome: str = MISSING
    marginal: bool = False
    provisional: bool = False
    by_instrument: bool = False
    scheduled: bool = False
    late: bool = False
    copy_of: str = ""
    tests: int = 0
    further_side: bool = False
    later_lesser_fails: int = 0
    by_traces: bool = False

    @property
    def tested(self) -> bool:
        """Whether it is among the tested links."""
        return self.outcome != MISSING


def link_result(label: str, records: Sequence[RecordResult], required: Collection[str] = ()) -> LinkResult:
    """A link by the records that count for it, one of each family of limits; MISSING without any.

    required: ids of the limits that the job's requirement may mean.
    """
    if not records:
        return LinkResult(label)
    deciding = [r for r in records if r.limit_id in required] or records
    outcome = next(o for o in _GRAVEST_FIRST if any(r.outcome == o for r in deciding))
    same = [r for r in deciding if r.outcome == outcome]
    return LinkResult(
        label,
        outcome,
        any(r.marginal for r in same),
        any(r.provisional for r in same),
        any(r.by_instrument for r in same),
        tests=len(records),
        by_traces=all(r.by_traces for r in same),
    )


def one_of_copies(links: Sequence[LinkResult]) -> list[LinkResult]:
    """The links, `copy_of` of each naming the first of its group with the same curves; empty for that one, and where no
    other link of the group is among these links."""
    by_label: dict[str, LinkResult] = {}
    for x in links:
        if x.outcome != MISSING:
            by_label.setdefault(x.label, x)

    def first(x: LinkResult) -> LinkResult:
        seen = [x]
        while x.copy_of in by_label and not any(by_label[x.copy_of] is y for y in seen):
            x = by_label[x.copy_of]
            seen.append(x)
        return x

    return [replace(x, copy_of="" if (origin := first(x)) is x else origin.label) for x in links]


def _came_to(outcome: str) -> Callable[[LinkResult], bool]:
    return lambda x: x.tested and x.outcome == outcome


_MEMBERS: dict[str, Callable[[LinkResult], bool]] = {
    "scheduled": lambda x: x.scheduled,
    "tested": lambda x: x.tested,
    **{outcome: _came_to(outcome) for outcome in OUTCOMES},
    "marginal": lambda x: x.tested and x.marginal,
    "provisional": lambda x: x.tested and x.provisional,
    "by_instrument": lambda x: x.tested and x.by_instrument,
    "by_traces": lambda x: x.tested and x.by_traces,
    "later_lesser_fails": lambda x: x.tested and x.later_lesser_fails > 0,
    "retested": lambda x: x.tested and x.tests > 1,
    "copied": lambda x: bool(x.copy_of),
    "missing": lambda x: x.scheduled and x.outcome == MISSING,
    "unexpected": lambda x: x.tested and not (x.scheduled or x.further_side),
    "further_sides": lambda x: x.further_side,
    "late": lambda x: x.late,
}
COUNTS = tuple(_MEMBERS)
"""Names of all counts."""
RARE = ("further_sides", "by_traces")
"""Counts that are not printed where they are nought."""


@dataclass(frozen=True)
class LinkCounts:
    """The counts of some links. has_schedule: whether it is known which links were to be built."""

    links: Sequence[LinkResult]
    has_schedule: bool = False

    def of(self, name: str) -> list[str]:
        """Labels of the links that a count counts, in the order of the links."""
        if name in ("scheduled", "unexpected") and not self.has_schedule:
            return []
        return [x.label for x in self.links if _MEMBERS[name](x)]

    def __getitem__(self, name: str) -> int:
        return len(self.of(name))

    @property
    def complete(self) -> bool:
        """Whether there are links, and all pass, none as a copy of another and none beyond the schedule."""
        return bool(self.links) and self["passing"] == len(self.links) and not (self["copied"] or self["unexpected"])

    def plain(self) -> dict[str, Any]:
        """Every count by its name: a number, or labels for those in LISTED; scheduled is None without a schedule."""
        found: dict[str, Any] = {name: self.of(name) if name in LISTED else self[name] for name in COUNTS}
        return found if self.has_schedule else {**found, "scheduled": None}

    def sums(self) -> list[tuple[list[tuple[str, int]], list[tuple[str, int]]]]:
        """The lines of reconciliation of schemas/counts.toml: the counts of either side, which add up to the same."""
        lines = schemas.load("counts.toml")["sums"].values()
        listed = [line for line in lines if self.has_schedule or "scheduled" not in line["left"]]
        return [(self._side(line["left"]), self._side(line["right"])) for line in listed]

    def _side(self, names: Sequence[str]) -> list[tuple[str, int]]:
        return [(name, self[name]) for name in names if name not in RARE or self[name]]
