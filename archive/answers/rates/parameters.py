"""Counting by parameter: what each parameter of each record came to."""

from __future__ import annotations

from collections.abc import Sequence

from archive.answers.rates.fields import GroupField
from archive.answers.rates.group import Key, RateGroup
from archive.answers.rates.source import Choice, CountingSource, grouped
from archive.store.counting.columns import BITS, GRADED, PROVISIONAL, REPORTED

_INSTRUMENTS_ALONE = ("polarity", "end_face")
"""What no loss or curve shows: the instrument's word on it is all that there is."""


def tests_of_parameters(source: CountingSource, choice: Choice, fields: Sequence[GroupField], place: int) -> str:
    """SQL of tests by group, job and state, a row for each parameter. place: of parameter among the fields.

    A parameter passes or fails as it was graded. Polarity and end faces, and losses of fibers to a limit that is not
    known, do as the instrument said. Where no curves came along: as the instrument said; else it fails
    where one of its worst points fails, and passes where the worst margin named is not negative, or where the record
    passes as a whole and its limit has the parameter: of a pass the instrument often names the worst one alone.
    """
    others = [f for i, f in enumerate(fields) if i != place]
    where, _ = choice.where()
    if choice.verdicts == "program":
        where += f" AND {choice.state} & {BITS['swept']} > 0"
    names = [f"{f.sql} AS k{i if i < place else i + 1}" for i, f in enumerate(others)]
    limited = _limits_with(source)
    keep = BITS["current"] | BITS["first"] | BITS["swept"]
    parts = []
    for name in source.files.parameters:
        keys = ", ".join([*names[:place], f"'{name}' AS k{place}", *names[place:]])
        whole = _in("r.limit_id", limited.get(name, []))
        state = f"({choice.state} & {keep} | {BITS['live']} | {_outcome(choice, name, whole)})"
        parts.append(
            f"SELECT {keys}, {source.job} AS job_id, {state} AS state, count(*) AS number FROM {source.records} r "
            f"WHERE {where} AND (r.graded_{name} IS NOT NULL OR ({whole} AND {_swept(choice, False)})) GROUP BY ALL"
        )
    keys = ", ".join(f"NULL AS k{i}" for i in range(len(fields)))
    empty = f"SELECT {keys}, NULL::VARCHAR AS job_id, 0::INTEGER AS state, 0::BIGINT AS number WHERE false"
    return " UNION ALL ".join(parts) if parts else empty


def _swept(choice: Choice, whether: bool) -> str:
    return f"{choice.state} & {BITS['swept']} {'>' if whether else '='} 0"


def _outcome(choice: Choice, name: str, whole: str) -> str:
    """SQL of the bits of what a parameter came to. whole: whether its limit has the parameter."""
    code, swept = f"r.graded_{name}", _swept(choice, True)
    word = f"{code} % {PROVISIONAL}"
    shaky = f"CASE WHEN {code} & {PROVISIONAL} > 0 THEN {BITS['provisional']} ELSE 0 END"
    graded = f"CASE {word} WHEN {GRADED['fail']} THEN {BITS['failed']} | {shaky} WHEN {GRADED['pass']} THEN "
    graded += f"{BITS['passed']} | {shaky} ELSE 0 END"
    alone = BITS["by_instrument"]
    passes = f"{choice.state} & {BITS['passed']} > 0 AND {whole}"
    said = f"CASE {word} WHEN {GRADED['fail']} THEN {BITS['failed'] | alone} WHEN {GRADED['pass']} THEN "
    said += f"{BITS['passed'] | alone} ELSE 0 END"
    theirs = "true" if name in _INSTRUMENTS_ALONE else "r.medium = 'fiber' AND r.limit_id IS NULL"
    if choice.verdicts == "program":
        theirs = "false"
    return (
        f"CASE WHEN {swept} THEN CASE WHEN coalesce({code}, 0) < {REPORTED} THEN {graded} WHEN {theirs} THEN {said} "
        f"ELSE 0 END WHEN {word} = {GRADED['fail']} THEN {BITS['failed'] | alone} "
        f"WHEN {word} = {GRADED['pass']} OR r.margin_{name} >= 0 THEN {BITS['passed'] | alone} "
        f"WHEN ({code} IS NULL OR {word} = 0) AND {passes} THEN {BITS['passed'] | alone} ELSE 0 END"
    )


def _limits_with(source: CountingSource) -> dict[str, list[str]]:
    """Ids of the limits of the records that have each parameter."""
    from archive import limits  # here, for only a question by parameter needs them

    found: dict[str, list[str]] = {}
    for (limit_id,) in source.rows(f"SELECT DISTINCT limit_id FROM {source.cells} WHERE limit_id IS NOT NULL"):
        if limit_id not in limits.ids():
            continue
        limit = limits.get(limit_id)
        needed = [name for name, line in limit.lines.items() if line.role == "required"]
        needed += [name for name, scalar in limit.scalars.items() if scalar.role == "required"]
        for name in needed:
            found.setdefault(name, []).append(limit_id)
    return found


def _in(column: str, ids: Sequence[str]) -> str:
    listed = ", ".join("'" + i.replace("'", "''") + "'" for i in ids)
    return f"coalesce({column} IN ({listed}), false)" if ids else "false"


def margins_of(
    source: CountingSource,
    choice: Choice,
    fields: Sequence[GroupField],
    place: int,
    groups: dict[Key, RateGroup],
) -> None:
    """Quantiles of the margins of each group; what a parameter alone cannot say is nothing."""
    others = [f for i, f in enumerate(fields) if i != place]
    columns, by = grouped(others)
    where, values = choice.where()
    where += f" AND {choice.state} & 1 = 1"
    names = source.files.parameters
    sums = ", ".join(f"quantile_cont(r.margin_{name}, [0.05, 0.5])" for name in names)
    rows = (
        source.rows(
            f"SELECT {columns}{sums} FROM {source.records} r WHERE {where}{f' GROUP BY {by}' if by else ''}", values
        )
        if names
        else []
    )
    for row in rows:
        key = row[: len(row) - len(names)]
        for name, quantiles in zip(names, row[len(key) :], strict=True):
            group = groups.get((*key[:place], name, *key[place:]))
            if group is not None and quantiles:
                group.p5, group.median = quantiles
    for group in groups.values():
        group.fixed = group.retested = group.marginal = group.marginal_known = None
