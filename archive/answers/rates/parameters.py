"""Counting by parameter: what each parameter of each record came to."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from archive.answers.rates.fields import GroupField
from archive.answers.rates.group import Key, RateGroup
from archive.answers.rates.source import Choice, CountingSource, grouped
from archive.store.counting.columns import BITS, GRADED, PROVISIONAL


def by_parameter(source: CountingSource, choice: Choice, fields: Sequence[GroupField], place: int) -> list[RateGroup]:
    """Groups by the other fields and by parameter. place: of parameter among the fields.

    A parameter passes where it was graded so. Where only worst points came along it fails where one fails, and passes
    where the worst margin that the instrument names is not negative.
    """
    others = [f for i, f in enumerate(fields) if i != place]
    columns, by = grouped(others)
    where, values = choice.where()
    if choice.verdicts == "program":
        where += f" AND {choice.state} & {BITS['swept']} > 0"
    parts = [
        f"SELECT {columns}'{name}' AS p, {choice.state} & {BITS['current'] | BITS['first'] | BITS['swept']} AS s, "
        f"r.graded_{name} AS g, r.margin_{name} >= 0 AS m, count(*) FROM {source.records} r "
        f"WHERE {where} AND r.graded_{name} IS NOT NULL GROUP BY ALL"
        for name in source.files.parameters
    ]
    if not parts:
        return []
    groups: dict[Key, RateGroup] = {}
    for *key, name, state, graded, positive, number in source.rows(" UNION ALL ".join(parts), values):
        full = (*key[:place], name, *key[place:])
        group = groups.setdefault(full, RateGroup(full))
        group.add(state & 3 | BITS["live"] | _outcome(state, graded, positive), number)
    where += f" AND {choice.state} & 1 = 1" + (f" GROUP BY {by}" if by else "")
    _margins(source, groups, place, columns, (where, values))
    for group in groups.values():
        group.fixed = group.retested = group.marginal = group.marginal_known = None
    order = {name: i for i, name in enumerate(source.files.parameters)}
    return sorted(groups.values(), key=lambda g: order[g.key[place]])


def _outcome(state: int, graded: int, positive: bool | None) -> int:
    """Bits of what a parameter came to. positive: its worst margin is not negative; None where there is none."""
    word, swept = graded % PROVISIONAL, bool(state & BITS["swept"])
    bits = 0
    if word == GRADED["fail"]:
        bits = BITS["failed"]
    elif word == GRADED["pass"] or (not swept and positive):
        bits = BITS["passed"]
    if not bits:
        return 0
    if not swept:
        return bits | BITS["by_instrument"]
    return bits | (BITS["provisional"] if graded >= PROVISIONAL else 0)


def _margins(
    source: CountingSource, groups: dict[Key, RateGroup], place: int, columns: str, where: tuple[str, Sequence[Any]]
) -> None:
    """Quantiles of the margins. where: what stands after WHERE, and its values."""
    names = source.files.parameters
    sums = ", ".join(f"quantile_cont(r.margin_{name}, [0.05, 0.5])" for name in names)
    for row in source.rows(f"SELECT {columns}{sums} FROM {source.records} r WHERE {where[0]}", where[1]):
        key = row[: len(row) - len(names)]
        for name, quantiles in zip(names, row[len(key) :], strict=True):
            group = groups.get((*key[:place], name, *key[place:]))
            if group is not None and quantiles:
                group.p5, group.median = quantiles
