"""Counting: one row per group, with every number that a share rests on beside it, and the jobs behind it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from archive import schemas
from archive.answers import statistics
from archive.answers.inference import jobs as of_jobs
from archive.answers.inference.jobs import NOTHING, JobCounts, RateIntervals, Scatter
from archive.answers.rates.fields import GroupField
from archive.answers.rates.group import Key, RateGroup
from archive.answers.rates.parameters import margins_of, tests_of_parameters
from archive.answers.rates.source import DECIDED, Choice, CountingSource, grouped
from archive.errors import Trouble
from archive.store.counting.columns import BITS

METHOD = "Wilson interval on effective links with jobs as the unit"
FINAL, FIRST = "current", "first"
_FEW = 10.0
"""Degrees of freedom of other groups under which jobs outside the question lend theirs too."""


@dataclass(frozen=True)
class GroupedJobs:
    """The groups of a question and their jobs. final, first: links and passes by job, of the records that decide and
    of first tests; job: by either, numbers of the jobs (m,); names: of the jobs; elsewhere: scatter of jobs outside."""

    groups: list[RateGroup]
    final: JobCounts
    first: JobCounts
    job: dict[str, Any]
    names: list[str]
    elsewhere: dict[str, Scatter]

    def of(self, which: str) -> JobCounts:
        """Jobs of FINAL or FIRST."""
        return self.first if which == FIRST else self.final

    def intervals(self, which: str) -> RateIntervals:
        """Of each group."""
        return of_jobs.intervals(self.of(which), self.elsewhere[which])

    def whole(self, which: str) -> JobCounts:
        """All groups as one: each job once."""
        jobs, number = self.of(which), self.job[which]
        n = np.bincount(number, jobs.links, len(self.names))
        return JobCounts.of(np.zeros(len(n), np.int64), n, np.bincount(number, jobs.passed, len(self.names)), 1)


def counts(source: CountingSource, choice: Choice, fields: Sequence[GroupField]) -> GroupedJobs:
    """Groups in the order of their keys, with their jobs."""
    nobody = JobCounts.of([], [], [], 0)
    if not source.files.records:
        none: dict[str, Any] = {w: np.zeros(0, np.int64) for w in (FINAL, FIRST)}
        return GroupedJobs([], nobody, nobody, none, [], dict.fromkeys((FINAL, FIRST), NOTHING))
    parameter = next((i for i, f in enumerate(fields) if f.name == "parameter"), None)
    _gather(source, choice, fields, parameter)
    keys = ", ".join(f"k{i}" for i in range(len(fields)))
    groups: dict[Key, RateGroup] = {}
    for *key, state, number in source.rows(
        f"SELECT {keys + ', ' if keys else ''}state, sum(number)::BIGINT FROM counted GROUP BY ALL"
    ):
        group = groups.setdefault(tuple(key), RateGroup(tuple(key)))
        group.add(state, number)
        if choice.cohort is not None and not state & BITS["first"]:
            group.tests -= number  # what became of a link is no further test
    if parameter is None:
        _margins(source, choice, fields, groups)
    else:
        margins_of(source, choice, fields, parameter, groups)
    order = source.files.parameters
    listed = _sorted(list(groups.values()), parameter, order)
    return _with_jobs(source, choice, listed, keys)


def _gather(source: CountingSource, choice: Choice, fields: Sequence[GroupField], parameter: int | None) -> None:
    """Makes the table `counted`: tests by group, job and state."""
    where, values = choice.where()
    if parameter is not None:
        text = tests_of_parameters(source, choice, fields, parameter)
    else:
        columns, _ = grouped(fields)
        table, number = source.table(choice)
        text = (
            f"SELECT {columns}{source.job} AS job_id, {choice.state} AS state, sum({number})::BIGINT AS number "
            f"FROM {table} r WHERE {where} GROUP BY ALL"
        )
    source.db.execute(f"CREATE OR REPLACE TEMP TABLE counted AS {text}", values)


def _with_jobs(source: CountingSource, choice: Choice, groups: list[RateGroup], keys: str) -> GroupedJobs:
    at = {g.key: i for i, g in enumerate(groups)}
    decided = f"state & {DECIDED} > 0"
    sums = ", ".join(
        f"coalesce(sum(number) FILTER (state & {BITS[w]} > 0 AND {condition}), 0)::BIGINT"
        for w in (FINAL, FIRST)
        for condition in (decided, f"state & {BITS['passed']} > 0")
    )
    rows = source.rows(f"SELECT {keys + ', ' if keys else ''}coalesce(job_id, ''), {sums} FROM counted GROUP BY ALL")
    width = len(groups[0].key) if groups else 0
    rows = [r for r in rows if tuple(r[:width]) in at]
    rows.sort(key=lambda r: (at[tuple(r[:width])], r[width]))  # so that the same question shuffles the same jobs
    names = sorted({r[width] for r in rows})
    number = {name: i for i, name in enumerate(names)}
    group = np.array([at[tuple(r[:width])] for r in rows], np.int64)
    job = np.array([number[r[width]] for r in rows], np.int64)
    made, of = {}, {}
    for which, first in ((FINAL, width + 1), (FIRST, width + 3)):
        n = np.array([r[first] for r in rows], np.float64)
        x = np.array([r[first + 1] for r in rows], np.float64)
        made[which] = JobCounts.of(group, n, x, len(groups))
        of[which] = job[n > 0]
    elsewhere = {w: _elsewhere(source, choice, made[w], w, names) for w in (FINAL, FIRST)}
    return GroupedJobs(groups, made[FINAL], made[FIRST], of, names, elsewhere)


def _elsewhere(source: CountingSource, choice: Choice, jobs: JobCounts, which: str, names: Sequence[str]) -> Scatter:
    """Scatter of the archive's other jobs by cable type, where the other groups are too few to lend enough."""
    own = of_jobs.scatter(jobs)
    if not choice.narrowed or not len(jobs.links) or float((own.over_all.jobs - own.jobs).min()) >= _FEW:
        return NOTHING
    wanted = f"r.{choice.column} & {BITS[which]} > 0 AND r.{choice.column} & {DECIDED} > 0"
    rows = source.rows(
        "SELECT dense_rank() OVER (ORDER BY cable_type) - 1, job_id, n, x FROM (SELECT coalesce(r.cable_type, '') AS "
        f"cable_type, coalesce({source.job}, '') AS job_id, sum(r.number) AS n, coalesce(sum(r.number) FILTER "
        f"(r.{choice.column} & {BITS['passed']} > 0), 0) AS x FROM {source.cells} r WHERE {wanted} GROUP BY 1, 2)"
    )
    asked = set(names)
    other = [r for r in rows if r[1] not in asked]
    if not other:
        return NOTHING
    return of_jobs.scatter(JobCounts.of([r[0] for r in other], [r[2] for r in other], [r[3] for r in other])).over_all


def _margins(
    source: CountingSource, choice: Choice, fields: Sequence[GroupField], groups: dict[Key, RateGroup]
) -> None:
    columns, by = grouped(fields)
    where, values = choice.where()
    n = len(fields)
    for row in source.rows(
        f"SELECT {columns}quantile_cont(r.leading_margin_db, [0.05, 0.5]) FROM {source.records_of(choice)} r "
        f"WHERE {where} AND {choice.state} & 1 = 1{f' GROUP BY {by}' if by else ''}",
        values,
    ):
        if row[n] and tuple(row[:n]) in groups:
            groups[tuple(row[:n])].p5, groups[tuple(row[:n])].median = row[n]


def row_of(group: RateGroup, fields: Sequence[GroupField], intervals: dict[str, Any], place: int) -> dict[str, Any]:
    """A group as the row that is printed.

    rate: passed / links. low, high: interval of 95 % of the rate at which such jobs pass, as METHOD says; wilson_low,
    wilson_high: as if links were independent. jobs: of links; effective_links: how many independent links they tell as
    much as; correlation: within jobs. first_*: the same of first tests. marginal_share: of marginal_known, the passing
    links of which it is known. provisional_share: of links. rate_at_least, rate_at_most: where all that is uncertain
    went one way (group.bounds). exact_low, exact_high: Clopper and Pearson's interval, for small groups.
    best_guess, where rates() adds it: the compared rate drawn towards that of all groups, not to be ranked without
    intervals. median_margin, p5_margin: quantiles of the leading margins, or of the margins of the group's parameter.
    intervals, place: what GroupedJobs.intervals gives of FINAL and FIRST with the number of jobs, and where in it.
    """
    g = group
    row: dict[str, Any] = {f.name: f.shown(v) for f, v in zip(fields, g.key, strict=True)}
    for kind, which, x, n in (("", FINAL, g.passed, g.links), ("first_time_", FIRST, g.first_passed, g.first_links)):
        of, jobs = intervals[which]
        prefix = kind.removesuffix("time_")
        wilson = statistics.wilson(x, n) if n else (None, None)
        row |= {
            f"{prefix}links": n,
            f"{prefix}passed": x,
            f"{kind}rate": share(x, n),
            f"{kind}low": float(of.low[place]) if n else None,
            f"{kind}high": float(of.high[place]) if n else None,
            f"{kind}wilson_low": wilson[0],
            f"{kind}wilson_high": wilson[1],
            f"{prefix}jobs": int(jobs[place]),
            f"{prefix}effective_links": float(of.effective[place]) if n else None,
        }
    bounds = g.bounds or (None, None)
    row |= {
        "correlation": float(intervals[FINAL][0].correlation[place]) if g.links else None,
        "method": METHOD,
        "fixed": g.fixed,
        "tests": g.tests,
        "retested": g.retested,
        "not_graded": g.not_graded,
        "copied": g.copied,
        "in_doubt": g.in_doubt,
        "later_lesser_fails": g.later_lesser_fails,
        "rate_at_least": bounds[0],
        "rate_at_most": bounds[1],
        "marginal": g.marginal,
        "marginal_known": g.marginal_known,
        "marginal_share": share(g.marginal, g.marginal_known),
        "provisional": g.provisional,
        "provisional_share": share(g.provisional, g.links),
        "by_instrument": g.by_instrument,
        "median_margin": g.median,
        "p5_margin": g.p5,
        "exact_low": None,
        "exact_high": None,
        "small": max(g.links, g.first_links) < schemas.load("rates.toml")["small"]["below"],
    }
    if row["small"] and g.links:
        row["exact_low"], row["exact_high"] = statistics.exact(g.passed, g.links)
    return row


def share(part: int | None, whole: int | None) -> float | None:
    """A share; None where there is nothing to share."""
    return part / whole if whole and part is not None else None


def _sorted(groups: list[RateGroup], parameter: int | None, order: Sequence[str]) -> list[RateGroup]:
    """In the order of their keys; parameters (their place in the key) in that of the vocabulary."""
    places = {name: i for i, name in enumerate(order)}

    def key(g: RateGroup) -> Any:
        return tuple((v is None, places.get(v, 0) if i == parameter else v) for i, v in enumerate(g.key))

    return sorted((g for g in groups if g.tests), key=key)


def refused(choice: Choice, fields: Sequence[GroupField]) -> None:
    """Errors: Trouble for a breakdown that the records cannot give."""
    single = any(f.name == "parameter" for f in fields)
    if choice.verdicts == "reported" and single:
        raise Trouble(
            "the instruments' verdicts on single parameters are not counted",
            code="rates.verdicts-not-counted",
            remedy="leave `--verdicts reported` or `--by parameter` out",
        )
    if choice.cohort is not None and single:
        raise Trouble(
            "what became of a link is not counted by parameter",
            code="rates.cohort-by-parameter",
            remedy="leave `--cohort` or `--by parameter` out",
        )
