"""What else differs between groups: rates within cable type, limit, length and so on, and orders that turn round."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import pyarrow as pa

from archive import schemas
from archive.answers.count_text import percent, points
from archive.answers.inference.jobs import Reals, Whole
from archive.answers.inference.standardise import Standardised, StratumCounts, standardised
from archive.answers.rates.compare import RATES, Told, p_text
from archive.answers.rates.fields import GroupField, chosen
from archive.answers.rates.source import DECIDED, Choice, CountingSource, grouped
from archive.answers.statistics import holm
from archive.store.counting.columns import BITS
from archive.tables.arrow import coded

LEAST_JOBS = 2
"""Fewer jobs of a group are not compared within strata: one job cannot be told from its mix."""


@dataclass(frozen=True)
class Strata:
    """Links by group, stratum and job: (m,) each; words: names of the strata."""

    group: Whole
    stratum: Whole
    job: Whole
    links: Reals
    passed: Reals
    words: list[str]

    def against_rest(self, group: int) -> StratumCounts:
        """A group against all others."""
        side = (self.group != group).astype(np.int64)
        return StratumCounts(side, self.stratum, self.job, self.links, self.passed)

    def enough(self, group: int) -> bool:
        """Whether a group and the others have jobs enough to be compared within strata."""
        here = self.group == group
        return all(len(np.unique(self.job[side])) >= LEAST_JOBS for side in (here, ~here))


class MixSearch:
    """Looks at the mix of the groups of a question.

    keys: of the groups, in their order; names: what they are called; rate: "final" or "first-time".
    """

    def __init__(
        self, source: CountingSource, choice: Choice, fields: Sequence[GroupField], keys: Sequence[Any], rate: str
    ) -> None:
        self._source, self._choice, self._fields, self._rate = source, choice, fields, rate
        self._at = {tuple(map(_text, key)): i for i, key in enumerate(keys)}

    def strata(self, by: Sequence[GroupField]) -> Strata:
        """Links by group, job and the values of some fields."""
        columns, _ = grouped(self._fields)
        where, values = self._choice.where()
        table, number = self._source.table(self._choice)
        state, bit, passed = self._choice.state, BITS[RATES[self._rate]], BITS["passed"]
        asked = ", ".join(f"coalesce(CAST({f.sql} AS VARCHAR), '') AS s{i}" for i, f in enumerate(by))
        found = self._source.arrow(
            f"SELECT {columns}{asked}, coalesce({self._source.job}, '') AS job, "
            f"sum({number})::DOUBLE AS n, coalesce(sum({number}) FILTER ({state} & {passed} > 0), 0)::DOUBLE AS x "
            f"FROM {table} r WHERE {where} AND {state} & {bit} > 0 AND {state} & {DECIDED} > 0 "
            "GROUP BY ALL ORDER BY ALL",
            values,
        )
        group = _numbers(found, [f"k{i}" for i in range(len(self._fields))], self._at)
        words, stratum = _codes(found, [f"s{i}" for i in range(len(by))])
        _, job = _codes(found, ["job"])
        n, x = (found[c].to_numpy() for c in ("n", "x"))
        some = group >= 0
        shown = [", ".join(_shown(f, w) for f, w in zip(by, one, strict=True)) for one in words]
        return Strata(group[some], stratum[some], job[some], n[some], x[some], shown)

    def search(self, names: Sequence[str], noun: str) -> tuple[list[Told], list[str]]:
        """Reversals, and mixes that move a rate, over the fields of schemas/rates.toml; what could not be compared."""
        rules = schemas.load("rates.toml")["mix"]
        if len(names) < 2:
            return [], []
        if len(names) > rules["groups"]:
            return [], [f"{len(names)} groups are too many to search for what else differs between them"]
        own = {f.name for f in self._fields}
        for same in rules["same"]:
            own |= set(same) if own & set(same) else set()
        found: list[tuple[int, GroupField, Strata, Standardised]] = []
        apart = []
        for field in chosen([n for n in rules["fields"] if n not in own], self._choice.length_edges):
            strata = self.strata([field])
            if len(strata.words) < 2:
                continue
            for g in range(1 if len(names) == 2 else len(names)):
                if not strata.enough(g):
                    continue
                made = standardised(strata.against_rest(g))
                if made is None:
                    apart.append(f"{names[g]} ({field.name.replace('_', ' ')})")
                else:
                    found.append((g, field, strata, made))
        told = self._told(found, names, noun, rules)
        notes = [f"no link of another group is like those of {_some(apart)}: nothing can be compared within it"]
        return told, notes if apart else []

    def _told(
        self,
        found: Sequence[tuple[int, GroupField, Strata, Standardised]],
        names: Sequence[str],
        noun: str,
        rules: dict[str, Any],
    ) -> list[Told]:
        turned = holm([s.within.p for _, _, _, s in found])
        moved = holm([s.moved.p for _, _, _, s in found])
        told = []
        for (g, field, strata, made), p_turned, p_moved in zip(found, turned, moved, strict=True):
            against = names[1] if len(names) == 2 else "all others"
            within, crude = made.within, made.crude
            if made.reversed and p_turned < rules["reversal"]:
                words = _reversal(names[g], against, field, strata, made, g)
                told.append(
                    Told("reversal", noun, names[g], against, within.value, within.low, within.high, p_turned, words)
                )
            elif abs(made.moved.value) >= rules["least"] and p_moved < rules["alpha"]:
                of = field.name.replace("_", " ")
                words = (
                    f"The mix of {of} moves {names[g]} by {_signed(made.moved.value)} points: crude "
                    f"{_signed(crude.value)} against {against}, within {of} {_signed(within.value)} "
                    f"({_signed(within.low)} to {_signed(within.high)}; {percent(made.compared)} of its links "
                    f"compared; p {p_text(p_moved)} corrected)."
                )
                told.append(Told("mix", noun, names[g], against, within.value, within.low, within.high, p_moved, words))
        return sorted(told, key=lambda t: (t.kind != "reversal", t.p))


def _reversal(name: str, against: str, field: GroupField, strata: Strata, made: Standardised, group: int) -> str:
    crude, within = 100 * made.crude.value, 100 * made.within.value
    better = "better" if within > 0 else "worse"
    ends = sorted((abs(100 * made.within.low), abs(100 * made.within.high)))
    here = strata.group == group
    size = np.bincount(strata.stratum[here], strata.links[here], len(strata.words))
    rest = np.bincount(strata.stratum[~here], strata.links[~here], len(strata.words))
    apart = size / size.sum() - rest / rest.sum()
    most = int(np.argmax(apart))
    words = field.name.replace("_", " ")
    shares = percent(size[most] / size.sum()), percent(rest[most] / rest.sum())
    return (
        f"Crude, {name} is {points(abs(crude))} points {'worse' if crude < 0 else 'better'} than {against}; within "
        f"{words} it is {points(abs(within))} points {better} ({points(ends[0])} to {points(ends[1])}; "
        f"{percent(made.compared)} of the links compared). The order turns round because {shares[0]} of the links of "
        f"{name} are of {words} {strata.words[most]}, of the others {shares[1]}."
    )


def _signed(share: float) -> str:
    return points(100 * share, signed=True)


def _codes(table: Any, columns: Sequence[str]) -> tuple[list[tuple[str, ...]], Whole]:
    """Distinct tuples of text columns and the number of each row's."""
    number: Whole = np.zeros(table.num_rows, np.int64)
    names: list[list[str]] = []
    sizes = []
    for column in columns:
        words, code = coded(table[column].cast(pa.string()))
        names.append(words)
        sizes.append(max(1, len(words)))
        number = number * sizes[-1] + code
    each, back = np.unique(number, return_inverse=True)
    tuples = []
    for value in each.tolist():
        one: list[str] = []
        for words, size in zip(reversed(names), reversed(sizes), strict=True):
            one.append(words[value % size])
            value //= size
        tuples.append(tuple(reversed(one)))
    return tuples, back.astype(np.int64)


def _numbers(table: Any, columns: Sequence[str], at: dict[Any, int]) -> Whole:
    """The number of each row's group; -1 where it is none of them."""
    if not columns:
        return np.zeros(table.num_rows, np.int64)
    filled = pa.table({c: table[c].cast(pa.string()).fill_null("\0") for c in columns})
    tuples, code = _codes(filled, columns)
    of = np.array([at.get(t, -1) for t in tuples], np.int64)
    return of[code] if len(of) else np.zeros(0, np.int64)


def _text(value: Any) -> str:
    return "\0" if value is None else str(value)


def _shown(field: GroupField, word: str) -> str:
    if word == "":
        return "unknown"
    if field.name in ("length_band", "quarter", "month"):
        return str(field.shown(int(word)))
    return word


def _some(listed: Sequence[str]) -> str:
    return ", ".join(listed[:5]) + (f" and {len(listed) - 5} more" if len(listed) > 5 else "")
