"""Which groups differ, in rows and in sentences: direction, size, what it was corrected for, and what stays unseen."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict, dataclass
from typing import Any

import numpy as np

from archive import schemas
from archive.answers.count_text import percent, points
from archive.answers.inference import differ, ranking
from archive.answers.inference import jobs as of_jobs
from archive.answers.inference.jobs import JobCounts
from archive.answers.rates.count import GroupedJobs
from archive.vocabulary.counted import counted

RATES = {"final": "current", "first-time": "first"}
"""Which rate is compared, and whose tests it is of."""


_KNOWN_SCATTER = 5
"""Degrees of freedom between jobs under which it is not known how much jobs differ, so that none is unusual."""


DIFFERENCES: dict[str, Any] = {"group": "", "of": "", "share": 0.0, "links": 0, "jobs": 0, "against": ""}
DIFFERENCES |= dict.fromkeys(("other_share", "difference", "low", "high", "z", "p"), 0.0) | {"differs": False}
"""Columns of the rows of a comparison, each with a value of its kind."""


@dataclass(frozen=True)
class Told:
    """Something that a reader may rely on, at the error that is stated with it.

    kind: "differs", "reversal", "mix" or "no_failure"; field: what was grouped by; group, against: names; effect, low,
    high: difference of rates with its interval; p: corrected; sentence: the same in words.
    """

    kind: str
    field: str
    group: str
    against: str
    effect: float | None
    low: float | None
    high: float | None
    p: float
    sentence: str

    def plain(self) -> dict[str, Any]:
        """As a row."""
        return asdict(self)

    @staticmethod
    def columns() -> dict[str, Any]:
        """Of such rows, each with a value of its kind."""
        return Told("", "", "", "", 0.0, 0.0, 0.0, 0.0, "").plain()


@dataclass(frozen=True)
class GroupComparison:
    """A comparison of all groups. rows: one per group; told: what holds; closing: what may be said of the others."""

    rows: list[dict[str, Any]]
    told: list[Told]
    closing: list[str]
    questions: int


def which_rate(groups: GroupedJobs, asked: str) -> str:
    """The rate that a comparison is of: first tests where any link was tested again, else the final rate."""
    if asked in RATES:
        return asked
    return "first-time" if any(g.retested for g in groups.groups) else "final"


def compared(groups: GroupedJobs, names: Sequence[str], noun: str, rate: str) -> GroupComparison:
    """Each group against the typical one, once. noun: what a group is ("crew"); rate: "final" or "first-time"."""
    which = RATES[rate]
    jobs = groups.of(which)
    number = np.bincount(jobs.group, minlength=jobs.groups)
    alpha = schemas.load("rates.toml")["compare"]["alpha"]
    if (number > 0).sum() < 2:
        return GroupComparison([], [], [], 0)
    found = differ.compare(jobs, alpha)
    of = of_jobs.sums(jobs)
    shown = groups.intervals(which)
    told_of = {d.group: d for d in found.departures}
    rest = _Rest(jobs, found, names, noun)
    rows, told = [], []
    for g in np.flatnonzero(number > 0).tolist():
        other, against = rest.of(g)
        here = (float(of.rate[g]), float(shown.low[g]), float(shown.high[g]))
        effect = of_jobs.difference(here, other)
        row = {"group": names[g], "of": rate, "share": here[0], "links": int(of.links[g]), "jobs": int(number[g])}
        row |= {"against": against, "other_share": other[0], "difference": effect[0], "low": effect[1]}
        row |= {"high": effect[2], "z": float(found.z[g]), "p": found.p, "differs": g in told_of}
        if g in told_of:
            row["p"] = told_of[g].p
            told.append(_differs(row, noun, rate, int((number > 0).sum())))
        rows.append(row)
    told.sort(key=lambda t: t.p)
    more = _without_failure(jobs, names, noun, rate, alpha)
    return GroupComparison(rows, [*told, *more], rest.closing(groups.intervals(which)), 1)


class _Rest:
    """What a group is compared with: the groups that were not told apart, or the only other one."""

    def __init__(self, jobs: JobCounts, found: differ.StepDown, names: Sequence[str], noun: str) -> None:
        self._jobs, self._found, self._names, self._noun = jobs, found, names, noun
        self._there = np.unique(jobs.group)

    def of(self, group: int) -> tuple[tuple[float, float, float], str]:
        """Rate with its interval, and name, of what a group is compared with."""
        if len(self._there) == 2:
            other = self._there[self._there != group]
            return self._interval(other), self._names[int(other[0])]
        others = self._found.left[self._found.left != group]
        return self._interval(others), f"the typical {self._noun}"

    def _interval(self, groups: Any) -> tuple[float, float, float]:
        some = self._jobs.only(groups).together()
        made = of_jobs.intervals(some)
        return float(some.passed.sum() / some.links.sum()), float(made.low[0]), float(made.high[0])

    def closing(self, shown: of_jobs.RateIntervals) -> list[str]:
        """What may be said of the groups that were not told apart."""
        found, noun = self._found, self._noun
        if found.reason:
            return [f"{found.reason[:1].upper()}{found.reason[1:]}."]
        if found.departures and len(self._there) == 2:
            return []
        if found.departures and found.p is not None and found.p <= 0.05:
            return [f"The search ends here: whether another {noun} differs too was not asked."]
        text = f"No {'other ' if found.departures else ''}{noun} differs more than jobs alike do in 5 % of analyses."
        return [text, *self._power(shown)]

    def _power(self, shown: of_jobs.RateIntervals) -> list[str]:
        """The lower rate that a middling group would have been told at."""
        left = self._found.left
        size = shown.effective[left]
        middle = int(left[int(np.argsort(size, kind="stable")[len(left) // 2])])
        others = left[left != middle]
        if not len(others):
            return []
        jobs = self._jobs
        other = of_jobs.intervals(jobs.only(others).together())
        some = jobs.only(left)
        p = float(some.passed.sum() / some.links.sum())
        freedom = float(of_jobs.of_all(jobs).freedom)
        lower = ranking.detectable(p, float(shown.effective[middle]), float(other.effective[0]), freedom, len(left))
        own = int((jobs.group == middle).sum())
        rest = int(np.isin(jobs.group, others).sum())
        return [
            f"With {counted(own, 'job')} against {rest}, a {self._noun} at {percent(lower)} against {percent(p)} would "
            "be told in at least 4 of 5 cases; smaller differences may be there unseen."
        ]


def _differs(row: dict[str, Any], noun: str, rate: str, groups: int) -> Told:
    worse = row["difference"] < 0
    test = " the first test" if rate == "first-time" else ""
    often = "less" if worse else "more"
    corrected = f", corrected for {groups} {plural(noun)}" if groups > 2 else ""
    ends = sorted(abs(100 * v) for v in (row["low"], row["high"]))
    around = f"{points(ends[0])} to {points(ends[1])}"
    if row["low"] * row["high"] < 0:
        around = f"{points(100 * row['low'])} to {points(100 * row['high'])} as a difference"
    size = f"{points(abs(100 * row['difference']))} points {'lower' if worse else 'higher'}"
    sentence = (
        f"{row['group']} passes{test} {often} often than {row['against']}: {percent(row['share'])} v "
        f"{percent(row['other_share'])}, {size} ({around}), p {p_text(row['p'])} (jobs shuffled{corrected})."
    )
    return Told(
        "differs",
        noun,
        row["group"],
        row["against"],
        row["difference"],
        row["low"],
        row["high"],
        row["p"],
        sentence,
    )


def _without_failure(jobs: JobCounts, names: Sequence[str], noun: str, rate: str, alpha: float) -> list[Told]:
    """Groups without one failure where jobs like the rest would have some: perhaps failures were filtered out."""
    of = of_jobs.sums(jobs)
    there = np.flatnonzero(of.links > 0)
    told: list[Told] = []
    if of_jobs.scatter(jobs).over_all.jobs < _KNOWN_SCATTER:
        return told
    for g in there.tolist():
        if of.passed[g] != of.links[g]:
            continue
        p = differ.no_failure(jobs, g)
        if p is None or p >= alpha / len(there):
            continue
        once = f"once in {counted(round(1 / p), 'time')}" if p > 1e-9 else "less than once in 1,000,000,000 times"
        test = " at the first test" if rate == "first-time" else ""
        sentence = (
            f"{names[g]} has no failure{test} in {counted(int(of.links[g]), 'link')}; jobs like the rest would do so "
            f"{once}: perhaps failures were left out of the export."
        )
        told.append(
            Told("no_failure", noun, names[g], "all others", None, None, None, min(1.0, p * len(there)), sentence)
        )
    return told


def noun_of(fields: Sequence[Any]) -> str:
    """What a group is called: the field, or "group" for several."""
    return str(fields[0].name).replace("_", " ") if len(fields) == 1 else "group"


def plural(noun: str) -> str:
    """More than one of them."""
    return noun if noun in ("software",) else f"{noun}s"


def p_text(value: float) -> str:
    """A p as it is printed."""
    for least, shown in ((1e-4, "below 0.0001"), (1e-3, f"{value:.4f}"), (0.1, f"{value:.3f}")):
        if value < least:
            return shown
    return f"{value:.2f}"
