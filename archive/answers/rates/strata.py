"""Links by group, job and what else is known of them: read once, for as many comparisons within strata as are asked."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from archive.answers.inference.jobs import Reals, Whole
from archive.answers.inference.standardise import StratumCounts
from archive.answers.rates.compare import RATES
from archive.answers.rates.fields import GroupField
from archive.answers.rates.source import DECIDED, Choice, CountingSource
from archive.store.counting.columns import BITS
from archive.tables.arrow import coded, numbers

LEAST_JOBS = 2
"""Fewer jobs of a group are not compared within strata: one job cannot be told from its mix."""
_OF_JOBS = ("evidence",)
"""Fields that a test decides itself (a fail may be saved with less than a pass): the usual value of its job counts."""
_NULL = "\x01"


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


class StrataTable:
    """Links by group, job and the values of some fields, from one query.

    fields, keys: of the groups, in their order; rate: "final" or "first-time"; by: the fields of which strata are made.
    """

    def __init__(
        self,
        source: CountingSource,
        choice: Choice,
        fields: Sequence[GroupField],
        keys: Sequence[Any],
        rate: str,
        by: Sequence[GroupField],
    ) -> None:
        where, values = choice.where()
        table, number = source.table(choice)
        state, bit, passed = choice.state, BITS[RATES[rate]], BITS["passed"]
        asked = [(f"k{i}", f.sql) for i, f in enumerate(fields)] + [(f"s{i}", f.sql) for i, f in enumerate(by)]
        asked.append(("job", source.job))
        listed = ", ".join(f"coalesce(CAST({sql} AS VARCHAR), '{_NULL}') AS {name}" for name, sql in asked)
        found = source.arrow(
            f"SELECT {listed}, sum({number})::DOUBLE AS n, "
            f"coalesce(sum({number}) FILTER ({state} & {passed} > 0), 0)::DOUBLE AS x "
            f"FROM {table} r WHERE {where} AND {state} & {bit} > 0 AND {state} & {DECIDED} > 0 GROUP BY ALL "
            "ORDER BY ALL",
            values,
        )
        at = {tuple(_NULL if v is None else str(v) for v in key): i for i, key in enumerate(keys)}
        words, code = _together([coded(found[f"k{i}"]) for i in range(len(fields))], found.num_rows)
        group = np.array([at.get(w, -1) for w in words], np.int64)[code]
        some = group >= 0
        self._group, self._job = group[some], coded(found["job"])[1][some]
        self._links, self._passed = (numbers(found[c])[some].astype(np.float64) for c in ("n", "x"))
        self._of: dict[str, tuple[GroupField, list[str], Whole]] = {}
        for i, f in enumerate(by):
            of, codes = coded(found[f"s{i}"])
            codes = codes[some]
            self._of[f.name] = f, of, self._usual(codes) if f.name in _OF_JOBS else codes

    def strata(self, names: Sequence[str]) -> Strata:
        """Strata by the values of one field or of several."""
        listed = [self._of[n] for n in names]
        words, stratum = _together([(w, c) for _, w, c in listed], len(self._group))
        width, jobs = len(words), int(self._job.max(initial=-1)) + 1
        each, cell = np.unique((self._group * width + stratum) * jobs + self._job, return_inverse=True)
        n, x = (np.bincount(cell, v, len(each)).astype(np.float64) for v in (self._links, self._passed))
        shown = [", ".join(_shown(f, w) for (f, _, _), w in zip(listed, one, strict=True)) for one in words]
        return Strata(each // jobs // width, each // jobs % width, each % jobs, n, x, shown)

    def _usual(self, code: Whole) -> Whole:
        """The value that most links of the job have."""
        width = int(code.max(initial=-1)) + 1
        jobs = int(self._job.max(initial=-1)) + 1
        if not len(code):
            return code
        size = np.bincount(self._job * width + code, self._links, jobs * width).reshape(jobs, width)
        return np.asarray(size.argmax(axis=1)[self._job], np.int64)


def _together(parts: Sequence[tuple[list[str], Whole]], rows: int) -> tuple[list[tuple[str, ...]], Whole]:
    """Distinct tuples of several columns of words and codes, and the number of each row's."""
    number: Whole = np.zeros(rows, np.int64)
    for words, code in parts:
        number = number * max(1, len(words)) + code
    each, back = np.unique(number, return_inverse=True)
    tuples = []
    for value in each.tolist():
        one: list[str] = []
        for words, _ in reversed(parts):
            value, place = divmod(value, max(1, len(words)))
            one.append(words[place])
        tuples.append(tuple(reversed(one)))
    return tuples, back.astype(np.int64)


def _shown(field: GroupField, word: str) -> str:
    if word == _NULL:
        return "unknown"
    if field.name in ("length_band", "quarter", "month"):
        return str(field.shown(int(word)))
    return word
