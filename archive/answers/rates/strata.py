"""Links by group, job and what else is known of them: read once, for as many comparisons within strata as are asked."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from archive.answers.inference.jobs import Reals, Whole
from archive.answers.inference.standardise import Standardised, StratumCounts, against_rest
from archive.answers.rates.compare import RATES
from archive.answers.rates.fields import GroupField
from archive.answers.rates.source import DECIDED, Choice, CountingSource
from archive.store.counting.columns import BITS

LEAST_JOBS = 2
"""Fewer jobs of a group are not compared within strata: one job cannot be told from its mix."""
_OF_JOBS = ("evidence",)
"""Fields that a test decides itself (a fail may be saved with less than a pass): the usual value of its job counts."""
_NULL = "\x01"


@dataclass(frozen=True)
class Strata:
    """Links by group, stratum and job: (m,) each; count: of the strata; name: what the one of a number is called."""

    group: Whole
    stratum: Whole
    job: Whole
    links: Reals
    passed: Reals
    count: int
    name: Callable[[int], str]

    def against_rest(self) -> list[tuple[int, Standardised | None]]:
        """Each group that can be compared within strata, and what became of it: None where no stratum has links of
        others, too. A group is left out where it or the others are fewer than LEAST_JOBS."""
        counts = StratumCounts(self.group, self.stratum, self.job, self.links, self.passed)
        enough = np.flatnonzero((counts.jobs_of_sides() >= LEAST_JOBS).all(axis=0)).tolist()
        return list(zip(enough, against_rest(counts, enough), strict=True))


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
        named = [(f"k{i}", f.sql) for i, f in enumerate(fields)] + [(f"s{i}", f.sql) for i, f in enumerate(by)]
        listed = ", ".join(f"hash({_text(sql)}) AS {name}" for name, sql in [*named, ("job", source.job)])
        found = source.arrays(
            f"SELECT {listed}, sum({number})::DOUBLE AS n, "
            f"coalesce(sum({number}) FILTER ({state} & {passed} > 0), 0)::DOUBLE AS x "
            f"FROM {table} r WHERE {where} AND {state} & {bit} > 0 AND {state} & {DECIDED} > 0 GROUP BY ALL",
            values,
        )
        self._source, self._from = source, table
        self._job = np.unique(found["job"], return_inverse=True)[1]
        self._links, self._passed = found["n"], found["x"]
        parts = [(self._words(f), *np.unique(found[f"k{i}"], return_inverse=True)) for i, f in enumerate(fields)]
        places, code = _together([(len(each), codes) for _, each, codes in parts], len(self._links))
        at = {tuple(_NULL if v is None else str(v) for v in key): i for i, key in enumerate(keys)}
        words = [tuple(of[int(each[i])] for (of, each, _), i in zip(parts, place, strict=True)) for place in places]
        self._group = np.array([at.get(w, -1) for w in words], np.int64)[code]
        some = self._group >= 0
        self._group, self._job, self._links, self._passed = (
            v[some] for v in (self._group, self._job, self._links, self._passed)
        )
        self._of: dict[str, tuple[GroupField, Any, Whole]] = {}
        for i, f in enumerate(by):
            each, codes = np.unique(found[f"s{i}"][some], return_inverse=True)
            self._of[f.name] = f, each, self._usual(codes) if f.name in _OF_JOBS else codes

    def _words(self, field: GroupField) -> dict[int, str]:
        """The words of a field by their hashes, which stand for them until a sentence needs them."""
        rows = self._source.rows(f"SELECT DISTINCT {_text(field.sql)} AS word, hash(word) FROM {self._from} r")
        return {number: word for word, number in rows}

    def strata(self, names: Sequence[str]) -> Strata:
        """Strata by the values of one field or of several."""
        listed = [self._of[n] for n in names]
        places, stratum = _together([(len(each), codes) for _, each, codes in listed], len(self._group))
        width, jobs = len(places), int(self._job.max(initial=-1)) + 1
        each, cell = np.unique((self._group * width + stratum) * jobs + self._job, return_inverse=True)
        n, x = (np.bincount(cell, v, len(each)).astype(np.float64) for v in (self._links, self._passed))

        def name(number: int) -> str:
            of = zip(listed, places[number], strict=True)
            return ", ".join(_shown(field, self._words(field)[int(each[i])]) for (field, each, _), i in of)

        return Strata(each // jobs // width, each // jobs % width, each % jobs, n, x, width, name)

    def _usual(self, code: Whole) -> Whole:
        """The value that most links of the job have."""
        width = int(code.max(initial=-1)) + 1
        jobs = int(self._job.max(initial=-1)) + 1
        if not len(code):
            return code
        size = np.bincount(self._job * width + code, self._links, jobs * width).reshape(jobs, width)
        return np.asarray(size.argmax(axis=1)[self._job], np.int64)


def _text(sql: str) -> str:
    return f"coalesce(CAST({sql} AS VARCHAR), '{_NULL}')"


def _together(parts: Sequence[tuple[int, Whole]], rows: int) -> tuple[list[tuple[int, ...]], Whole]:
    """Distinct tuples of several columns of codes, each with how many codes there are, and the number of each row's."""
    number: Whole = np.zeros(rows, np.int64)
    for count, code in parts:
        number = number * max(1, count) + code
    each, back = np.unique(number, return_inverse=True)
    tuples = []
    for value in each.tolist():
        one: list[int] = []
        for count, _ in reversed(parts):
            value, place = divmod(value, max(1, count))
            one.append(place)
        tuples.append(tuple(reversed(one)))
    return tuples, back.astype(np.int64)


def _shown(field: GroupField, word: str) -> str:
    if word == _NULL:
        return "unknown"
    if field.name in ("length_band", "quarter", "month"):
        return str(field.shown(int(word)))
    return word
