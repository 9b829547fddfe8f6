"""First-time rates and margins over time: limits of a chart, one change point, and units that drift."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from archive import vocabulary
from archive.answers.count_text import percent
from archive.answers.inference import jobs as of_jobs
from archive.answers.inference import trends
from archive.answers.inference.margins import quantile
from archive.answers.rates.compare import p_text
from archive.answers.rates.count import FIRST, counts
from archive.answers.rates.fields import TIMES, GroupField, chosen
from archive.answers.rates.rates import about
from archive.answers.rates.same_links import LEADING
from archive.answers.rates.source import Choice, CountingSource
from archive.answers.rates.units import UnitsFound, known_parameter, units
from archive.errors import Trouble
from archive.store import Archive
from archive.store.counting.columns import BITS, of_parameter
from archive.vocabulary.counted import counted

_SHARE = 0.05
"""Quantile of margins that is followed beside the median."""


@dataclass(frozen=True)
class Trend:
    """What a trend found. points: one per period with first tests: period, rate, n (links), jobs, low, high, and the
    limits of the chart; alarms: period, kind ("point" or "smoothed"), direction; change: period, before, after, p, or
    None; units: drift of instruments and odd cables; margins: rows by parameter and period; judged: whether there are
    periods and jobs enough for limits; notes: what a reader must know."""

    of: str
    points: list[dict[str, Any]]
    alarms: list[dict[str, Any]]
    change: dict[str, Any] | None
    units: UnitsFound
    margins: list[dict[str, Any]]
    margin: str
    judged: bool
    centre: float | None
    archive: str
    notes: list[str] = field(default_factory=list)
    about: str = ""

    @property
    def columns(self) -> dict[str, Any]:
        """Of the points, also where there is none, each with a value of its kind."""
        ends = dict.fromkeys(("low", "high", "limit_low", "limit_high"), 0.0)
        return {"period": "", "rate": 0.0, "n": 0, "jobs": 0, **ends}

    def plain(self) -> dict[str, Any]:
        """As one JSON document."""
        return {
            "trend": self.of,
            "points": self.points,
            "centre": self.centre,
            "alarms": self.alarms,
            "change": self.change,
            "margin": self.margin,
            "drift": [u.plain() for u in self.units.units],
            "cables": [{**vars(c), "sentence": c.sentence} for c in self.units.cables],
            "margins": self.margins,
            "told": self.sentences(),
            "expected_false_alarms": _expected(self),
            "notes": self.notes,
        }

    def sentences(self) -> list[str]:
        """What may be relied on."""
        found = []
        for kind, words in (
            ("point", "outside the limits, which 19 of 20 charts of like jobs keep within"),
            ("smoothed", "where the smoothed line leaves its limits"),
        ):
            listed = [f"{a['period']} ({a['direction']})" for a in self.alarms if a["kind"] == kind]
            if listed:
                found.append(f"{', '.join(listed)}: {words}.")
        if self.change is not None:
            c = self.change
            found.append(
                f"First-time rate changed at {c['period']}: {percent(c['before'])} before, {percent(c['after'])} from "
                f"then on (p {p_text(c['p'])}, jobs shuffled)."
            )
        found += [u.sentence(self.archive) for u in self.units.units if u.told]
        return found + [c.sentence for c in self.units.cables]


def trend(
    archives: Archive | Sequence[Archive],
    of: str,
    choice: Choice | None = None,
    *,
    margin: str = LEADING,
    watch: Callable[[Iterable[int]], Iterable[int]] = iter,
) -> Trend:
    """First-time rates by year, quarter or month, and margins; units whose margins drift against the others.

    margin: whose margins tell a drift, a parameter or LEADING. Errors: Trouble for a word that there is not.
    """
    choice = choice or Choice()
    if of not in TIMES:
        raise Trouble("no such period", code="rates.unknown-word", found=of, expected=", ".join(TIMES))
    if not known_parameter(margin):
        raise Trouble(
            "no such parameter",
            code="rates.unknown-parameter",
            found=margin,
            expected=", ".join((LEADING, *vocabulary.parameters())),
        )
    (period,) = chosen([of])
    source = CountingSource.of(archives, watch)
    source.refuse_unknown(choice)
    made = counts(source, choice, [period])
    here = [i for i, g in enumerate(made.groups) if g.key[0] is not None and g.first_links]
    names = [str(period.shown(made.groups[i].key[0])) for i in here]
    found = units(source, choice, margin)
    notes = [found.note] if found.note else []
    undated = sum(g.first_links for g in made.groups if g.key[0] is None)
    if undated:
        notes.append(f"{counted(undated, 'link')} without such a date, in no period")
    words = source.name
    of_what = about(source, choice)
    if not here:
        return Trend(of, [], [], None, found, [], margin, False, None, words, notes, of_what)
    jobs = made.first.only(np.array(here))
    periods = trends.PeriodJobs(jobs)
    chart = periods.chart()
    shown = of_jobs.intervals(jobs, made.elsewhere[FIRST])
    number = np.bincount(jobs.group, minlength=jobs.groups)
    points = [
        {
            "period": name,
            "rate": float(chart.rate[i]),
            "n": int(chart.links[i]),
            "jobs": int(number[i]),
            "low": float(shown.low[i]),
            "high": float(shown.high[i]),
            "limit_low": float(chart.low[i]) if chart.judged else None,
            "limit_high": float(chart.high[i]) if chart.judged else None,
        }
        for i, name in enumerate(names)
    ]
    alarms = [
        {"period": names[i], "kind": kind, "direction": "lower" if side[i] < 0 else "higher"}
        for kind, outside, side in (("point", chart.outside, chart.u), ("smoothed", chart.drifted, chart.ewma))
        for i in np.flatnonzero(outside).tolist()
    ]
    changed = periods.change()
    change = None
    if changed is not None and changed.p <= trends.TOLD:
        change = {"period": names[changed.period], "before": changed.before, "after": changed.after, "p": changed.p}
    if not chart.judged:
        least = f"{trends.LEAST_PERIODS} periods and {trends.LEAST_JOBS} jobs"
        notes.append(f"limits and alarms need {least}: points and intervals alone are given")
    margins = _margins(source, choice, period)
    return Trend(of, points, alarms, change, found, margins, margin, chart.judged, chart.centre, words, notes, of_what)


def _expected(found: Trend) -> float:
    """False alarms that are expected where nothing changes: of points, of the smoothed line, of the change point, and
    of units as measured (DEVELOPERS.md)."""
    drifts = 0.05 if found.units.units else 0.0
    return round((3 * trends.TOLD if found.judged else 0.0) + drifts, 3)


def _margins(source: CountingSource, choice: Choice, period: GroupField) -> list[dict[str, Any]]:
    """Median and 5 % quantile of each parameter's margins of first tests in each period, with intervals by jobs."""
    where, values = choice.where()
    out = []
    for name in source.files.parameters:
        if name != of_parameter(name):
            continue
        table = source.arrow(
            f"SELECT {period.sql} AS k, dense_rank() OVER (ORDER BY coalesce({source.job}, '')) - 1 AS job, "
            f"r.margin_{name}::DOUBLE AS margin FROM {source.records} r WHERE {where} AND "
            f"{choice.state} & {BITS['first']} > 0 AND r.margin_{name} IS NOT NULL AND {period.sql} IS NOT NULL "
            "ORDER BY k",
            values,
        )
        if not table.num_rows:
            continue
        k, job, margin = (table[c].to_numpy() for c in ("k", "job", "margin"))
        starts = np.flatnonzero(np.r_[True, np.diff(k) != 0])
        for first, last in zip(starts.tolist(), [*starts[1:].tolist(), len(k)], strict=True):
            _, own = np.unique(job[first:last], return_inverse=True)
            middle, low = (quantile(margin[first:last], own, q) for q in (0.5, _SHARE))
            out.append(
                {
                    "parameter": name,
                    "unit": vocabulary.parameter(name).unit,
                    "period": str(period.shown(int(k[first]))),
                    "n": last - first,
                    "jobs": int(own.max()) + 1,
                    "median": middle.value,
                    "median_low": middle.low,
                    "median_high": middle.high,
                    "p5": low.value,
                    "p5_low": low.low,
                    "p5_high": low.high,
                }
            )
    return out
