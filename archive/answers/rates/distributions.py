"""How a parameter, and its margin, is spread at each frequency over any number of links: 5 %, median, 95 %."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from itertools import groupby
from typing import Any

import numpy as np

from archive import limits, vocabulary
from archive.answers.rates.cable_shares import cable_notes
from archive.answers.rates.fields import GroupField, chosen
from archive.answers.rates.histogram import Histogram
from archive.answers.rates.packed_curves import LACKS, CurvesAsked, Selected, count_curves
from archive.answers.rates.rates import about as described
from archive.answers.rates.rates import name_of
from archive.answers.rates.source import Choice, CountingSource
from archive.errors import Trouble
from archive.limits import Limit
from archive.spread import Workforce
from archive.store import Archive
from archive.store.bag_reading import BagReading
from archive.store.checked_files import passed_over
from archive.store.counting.columns import BITS

TESTS = {"current": BITS["current"], "first": BITS["first"], "all": BITS["live"]}
OF = ("curves", "worst")
MOST_GROUPS = 8


@dataclass(frozen=True)
class CurveChoice:
    """Which curves of the chosen records. tests: of the records that are current, the first or all; of: "curves" takes
    every pair or combination, "worst" the worst of each record at each frequency."""

    parameter: str
    tests: str = "current"
    of: str = "curves"


OF_CURVES = ("worst", "low", "median", "high")
OF_MARGINS = ("margin_worst", "margin_low", "margin_median", "margin_high")
"""Columns of the rows of a spread."""


@dataclass(frozen=True)
class Spread:
    """Of one group. fields: its values; records: number of records with curves; curves: (F,), curves counted at each
    frequency; worst, low, median, high: (F,), the worst of all, 5 %, 50 % and 95 % of the values in dB; limit: (F,),
    NaN where it says nothing; margin_worst, margin_low, margin_median, margin_high: of the margins, a negative one
    fails; beyond: share that misses the limit.
    """

    fields: dict[str, Any]
    name: str
    records: int
    frequencies_mhz: Any
    curves: Any
    worst: Any
    low: Any
    median: Any
    high: Any
    limit: Any
    margin_worst: Any
    margin_low: Any
    margin_median: Any
    margin_high: Any
    beyond: Any

    def rows(self) -> list[dict[str, Any]]:
        """One row per frequency."""
        names = ("curves", *OF_CURVES, "limit", *OF_MARGINS, "beyond")
        listed = zip(self.frequencies_mhz.tolist(), *(getattr(self, n).tolist() for n in names), strict=True)
        return [
            {**self.fields, "frequency_mhz": f, **{n: None if v != v else v for n, v in zip(names, rest, strict=True)}}
            for f, *rest in listed
        ]


@dataclass(frozen=True)
class Distribution:
    """Spreads of a parameter by group. limit: id of the limit that margins are against, or None."""

    parameter: str
    unit: str
    limit: str | None
    of: str
    spreads: list[Spread]
    notes: list[str] = field(default_factory=list)
    about: str = ""
    fields: Sequence[GroupField] = ()

    @property
    def columns(self) -> dict[str, Any]:
        """Of the rows, also where there is none, each with a value of its kind."""
        values = (*OF_CURVES, "limit", *OF_MARGINS, "beyond")
        named: dict[str, Any] = {f.name: f.example for f in self.fields}
        return named | {"frequency_mhz": 0.0, "curves": 0} | dict.fromkeys(values, 0.0)


def distribution(
    archive: Archive,
    curves: CurveChoice,
    choice: Choice | None = None,
    *,
    against: str | None = None,
    by: Iterable[str] = (),
    force: Workforce | None = None,
) -> Distribution:
    """Spread of one parameter over frequency, bag after bag, in memory that does not grow with the archive.

    against: a limit, by id or words; None for the one that all chosen records were tested to. by: fields, at most
    MOST_GROUPS groups. A parameter that no chosen record has a curve of is recomputed from its parts. Points that a
    limit takes for information only count as any other. Errors: Trouble.
    """
    choice, parameter = choice or Choice(), curves.parameter
    if parameter not in vocabulary.parameters():
        raise Trouble(
            "no such parameter",
            code="rates.unknown-parameter",
            found=parameter,
            expected=", ".join(vocabulary.parameters()),
        )
    for word, known in ((curves.tests, tuple(TESTS)), (curves.of, OF)):
        if word not in known:
            raise Trouble("no such word", code="rates.unknown-word", found=word, expected=", ".join(known))
    about = vocabulary.parameter(parameter)
    fields = chosen(by, choice.length_edges)
    if any(f.name == "parameter" for f in fields):
        raise Trouble(
            "curves are of one parameter", code="rates.curves-by-parameter", remedy="leave parameter out of --by"
        )
    if choice.cohort is not None:
        raise Trouble("curves have no cohort", code="rates.unknown-word", remedy="leave `--cohort` out")
    CountingSource.of(archive).refuse_unknown(choice)
    selected, keys, used = _selected(archive, choice, fields, TESTS[curves.tests])
    line = None
    notes = cable_notes(CountingSource.of(archive), choice, [f.name for f in fields])
    limit = _limit(against, used, notes)
    if limit is not None:
        line = limit.line(parameter)
        if line is None:
            notes.append(f"{limit.id} has no line for {about.name}")
    asked = CurvesAsked(parameter, len(keys), curves.of == "worst", about.sense)
    counts = count_curves(archive, asked, selected, force)
    notes += counts.notes
    spreads = [
        _spread(histogram, key, fields, int(number), line, about.sense)
        for histogram, key, number in zip(counts.histograms, keys, counts.records, strict=True)
        if number
    ]
    if any(h.rounded for h in counts.histograms):
        notes.append("values finer than 0.01 dB were rounded to that")
    of = described(CountingSource.of(archive), choice)
    against_id = limit.id if limit and line else None
    return Distribution(parameter, about.unit, against_id, curves.of, spreads, notes, of, fields)


def _selected(
    archive: Archive, choice: Choice, fields: Sequence[GroupField], bit: int
) -> tuple[list[Selected], list[tuple[Any, ...]], set[str]]:
    source = CountingSource.of(archive)
    if not source.files.records:
        return [], [], set()
    where, values = choice.where()
    keys = "".join(f", {f.sql}" for f in fields)
    rows = source.rows(
        f"SELECT r.deposit, r.position, r.limit_id{keys} FROM {source.records} r "
        f"WHERE {where} AND {choice.state} & {bit} > 0 AND r.evidence = 'full-sweep' ORDER BY r.row",
        values,
    )
    found = sorted({tuple(r[3:]) for r in rows}, key=lambda k: tuple((v is None, v) for v in k))
    if len(found) > MOST_GROUPS:
        raise Trouble(
            f"{len(found)} groups are too many for curves",
            code="rates.too-many-groups",
            expected=f"at most {MOST_GROUPS}",
            remedy="narrow the selection, or group by less",
        )
    code = {key: i for i, key in enumerate(found)}
    selected = []
    for deposit, members in groupby(rows, key=lambda r: r[0]):
        some = list(members)
        codes = tuple(code[tuple(m[3:])] for m in some)
        with passed_over(deposit, LACKS):
            selected.append(Selected(deposit, BagReading.of(archive, deposit), tuple(m[1] for m in some), codes))
    return selected, found, {str(r[2]) for r in rows if r[2] is not None}


def _limit(against: str | None, used: set[str], notes: list[str]) -> Limit | None:
    if against is not None:
        resolved = limits.find(against)
        if resolved.limit_id is None:
            raise Trouble(
                "the limit is not known",
                code="rates.unknown-limit",
                found=against,
                expected=", ".join(resolved.candidates) or "an id",
            )
        return limits.get(resolved.limit_id)
    if len(used) == 1:
        return limits.get(next(iter(used)))
    if used:
        notes.append(f"the records were tested to {len(used)} limits: name one with --against for margins")
    return None


def _spread(
    histogram: Histogram, key: tuple[Any, ...], fields: Sequence[GroupField], records: int, line: Any, sense: str
) -> Spread:
    order = np.argsort(histogram.frequencies)
    f = histogram.frequencies[order]
    low, median, high = (histogram.quantile(q)[order] for q in (0.05, 0.5, 0.95))
    extreme = histogram.quantile(1.0 if sense == "max" else 0.0)[order]
    limit = np.full(len(f), np.nan) if line is None else line.at(f)
    at = np.empty_like(limit)
    at[order] = limit
    worst, middle, best = (
        (limit - v for v in (high, median, low)) if sense == "max" else (v - limit for v in (low, median, high))
    )
    word = {one.name: one.shown(v) for one, v in zip(fields, key, strict=True)}
    return Spread(
        word,
        name_of(fields, word),
        records,
        f,
        histogram.number()[order],
        extreme,
        low,
        median,
        high,
        limit,
        limit - extreme if sense == "max" else extreme - limit,
        worst,
        middle,
        best,
        histogram.beyond(at, sense)[order],
    )
