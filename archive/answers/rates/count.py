"""Counting: one row per group, with every number that a share rests on beside it."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from archive import schemas
from archive.answers import statistics
from archive.answers.rates.fields import GroupField
from archive.answers.rates.group import Key, RateGroup
from archive.answers.rates.parameters import by_parameter
from archive.answers.rates.source import Choice, CountingSource, grouped
from archive.errors import Trouble
from archive.store.counting.columns import BITS


def counts(
    source: CountingSource, choice: Choice, fields: Sequence[GroupField], *, by_job: bool = True
) -> list[RateGroup]:
    """Groups in the order of their keys. by_job: also how much more the jobs differ than chance lets links differ."""
    if not source.files.records:
        return []
    parameter = next((i for i, f in enumerate(fields) if f.name == "parameter"), None)
    if parameter is not None:
        return _sorted(by_parameter(source, choice, fields, parameter), parameter)
    return _sorted(_counts(source, choice, fields, by_job))


def _counts(source: CountingSource, choice: Choice, fields: Sequence[GroupField], by_job: bool) -> list[RateGroup]:
    columns, by = grouped(fields)
    where, values = choice.where()
    groups: dict[Key, RateGroup] = {}
    n = len(fields)
    table, number_of = (source.cells, "sum(r.number)::BIGINT") if choice.of_cells else (source.records, "count(*)")
    for row in source.rows(
        f"SELECT {columns}r.limit_id, r.length_band, {choice.state} AS state, {number_of} FROM {table} r "
        f"WHERE {where} GROUP BY ALL",
        values,
    ):
        key, (limit, band, state, number) = tuple(row[:n]), row[n:]
        group = groups.setdefault(key, RateGroup(key))
        group.add(state, number)
        if state & BITS["current"] and state & (BITS["passed"] | BITS["failed"]):
            group.limits[limit] += number
            group.lengths[band] += number
    end = f" GROUP BY {by}" if by else ""
    for row in source.rows(
        f"SELECT {columns}quantile_cont(r.leading_margin_db, [0.05, 0.5]) FROM {source.records} r "
        f"WHERE {where} AND {choice.state} & 1 = 1{end}",
        values,
    ):
        if row[n] and tuple(row[:n]) in groups:
            groups[tuple(row[:n])].p5, groups[tuple(row[:n])].median = row[n]
    if by_job:
        _jobs(source, choice, fields, groups)
    return list(groups.values())


def _jobs(source: CountingSource, choice: Choice, fields: Sequence[GroupField], groups: dict[Key, RateGroup]) -> None:
    """Number of jobs, and design effects of both shares."""
    columns, by = grouped(fields)
    where, values = choice.where()
    n, state = len(fields), choice.state
    table, number_of = (source.cells, "sum(r.number)") if choice.of_cells else (source.records, "count(*)")
    parts = []
    for which in ("current", "first"):
        wanted = f"{state} & {BITS[which]} > 0 AND {state} & {BITS['passed'] | BITS['failed']} > 0"
        passed = f"{wanted} AND {state} & {BITS['passed']} > 0"
        parts.append(f"coalesce({number_of} FILTER ({wanted}), 0)::BIGINT AS {which}_n")
        parts.append(f"coalesce({number_of} FILTER ({passed}), 0)::BIGINT AS {which}_x")
    sums = ", ".join(
        f"count(*) FILTER ({w}_n > 0), sum({w}_n)::BIGINT, sum({w}_x)::BIGINT, sum({w}_x * {w}_x)::DOUBLE, "
        f"sum({w}_x * {w}_n)::DOUBLE, sum({w}_n * {w}_n)::DOUBLE"
        for w in ("current", "first")
    )
    keys = f"{by}, " if by else ""
    end = f" GROUP BY {by}" if by else ""
    for row in source.rows(
        f"WITH j AS (SELECT {columns}r.job_id, {', '.join(parts)} FROM {table} r WHERE {where} "
        f"GROUP BY {keys}r.job_id) SELECT {keys}{sums} FROM j{end}",
        values,
    ):
        group = groups.get(tuple(row[:n]))
        if group is not None:
            group.jobs = row[n]
            group.effect = statistics.design_effect(*row[n : n + 6])
            group.first_effect = statistics.design_effect(*row[n + 6 : n + 12])


def row_of(group: RateGroup, fields: Sequence[GroupField]) -> dict[str, Any]:
    """A group as the row that is printed, with Wilson's intervals of 95 %.

    rate: passed / links. first_time_rate: first_passed / first_links. marginal_share: of the links that pass and of
    which it is known. provisional_share: of links. rate_at_least, rate_at_most: where every link that is not graded
    failed, or passed. low_by_job, high_by_job: the interval widened by how much jobs differ. exact_low, exact_high:
    Clopper and Pearson's interval, for small groups. median_margin, p5_margin: quantiles of the leading margins, or of
    the margins of the group's parameter.
    """
    g = group
    row: dict[str, Any] = {f.name: f.shown(v) for f, v in zip(fields, g.key, strict=True)}
    low, high = statistics.wilson(g.passed, g.links) if g.links else (None, None)
    first_low, first_high = statistics.wilson(g.first_passed, g.first_links) if g.first_links else (None, None)
    row |= {
        "links": g.links,
        "passed": g.passed,
        "rate": share(g.passed, g.links),
        "low": low,
        "high": high,
        "first_links": g.first_links,
        "first_passed": g.first_passed,
        "first_time_rate": share(g.first_passed, g.first_links),
        "first_time_low": first_low,
        "first_time_high": first_high,
        "fixed": g.fixed,
        "tests": g.tests,
        "retested": g.retested,
        "not_graded": g.not_graded,
        "rate_at_least": share(g.passed, g.links + g.not_graded),
        "rate_at_most": share(g.passed + g.not_graded, g.links + g.not_graded),
        "marginal": g.marginal,
        "marginal_known": g.marginal_known,
        "marginal_share": share(g.marginal, g.marginal_known),
        "provisional": g.provisional,
        "provisional_share": share(g.provisional, g.links),
        "by_instrument": g.by_instrument,
        "median_margin": g.median,
        "p5_margin": g.p5,
        "jobs": g.jobs,
        "design_effect": g.effect,
        "low_by_job": None,
        "high_by_job": None,
        "first_time_design_effect": g.first_effect,
        "first_time_low_by_job": None,
        "first_time_high_by_job": None,
        "exact_low": None,
        "exact_high": None,
        "small": g.links < schemas.load("rates.toml")["small"]["below"],
    }
    if row["small"] and g.links:
        row["exact_low"], row["exact_high"] = statistics.exact(g.passed, g.links)
    if g.effect is not None:
        row["low_by_job"], row["high_by_job"] = statistics.wilson_of(g.passed / g.links, g.links / g.effect)
    if g.first_effect is not None:
        both = statistics.wilson_of(g.first_passed / g.first_links, g.first_links / g.first_effect)
        row["first_time_low_by_job"], row["first_time_high_by_job"] = both
    return row


def share(part: int | None, whole: int | None) -> float | None:
    """A share; None where there is nothing to share."""
    return part / whole if whole and part is not None else None


def _sorted(groups: list[RateGroup], parameter: int | None = None) -> list[RateGroup]:
    """In the order of their keys; parameters (their place in the key) stay in that of the vocabulary, as they come."""

    def key(g: RateGroup) -> Any:
        return tuple((v is None, order[v] if i == parameter else v) for i, v in enumerate(g.key))

    order = {g.key[parameter]: i for i, g in reversed(list(enumerate(groups)))} if parameter is not None else {}
    return sorted((g for g in groups if g.tests), key=key)


def refused(choice: Choice, fields: Sequence[GroupField]) -> None:
    """Errors: Trouble for a breakdown that the records cannot give."""
    if choice.verdicts == "reported" and any(f.name == "parameter" for f in fields):
        raise Trouble(
            "the instruments' verdicts on single parameters are not counted",
            code="rates.verdicts-not-counted",
            remedy="leave `--verdicts reported` or `--by parameter` out",
        )
