"""Drift of single instruments, told apart from cable and crew, over the median margins of jobs."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np

from archive.answers.inference import drift
from archive.answers.inference.drift import CellEffect, JobMargins, Slope
from archive.answers.inference.same_links import PairSlope
from archive.answers.inference.special import t_tail
from archive.answers.rates.same_links import LEADING, SameLinks, margin_column, month_of
from archive.answers.rates.source import Choice, CountingSource
from archive.answers.statistics import holm
from archive.store.counting.columns import BITS
from archive.vocabulary import parameters
from archive.vocabulary.counted import counted

LEAST_LINKS, LEAST_JOBS, LEAST_MONTHS = 5, 6, 6
"""Fewer links of a job, jobs of a unit, or months between its first and last job say nothing of it."""
_CELL = 4
"""Jobs that a cell of cable and time should hold, so that units can be compared within it."""
_CELLS_TOLD = 0.02


@dataclass(frozen=True)
class UnitDrift:
    """A unit. slope, low, high: dB a month against the typical unit, negative where margins shrink; None where it
    cannot be told. p: corrected for all units, and for looks month after month. axis: "calibration" (months since it)
    or "date". since: ISO 8601, first job in doubt. same_links: how many links another unit tested, too; on_them: the
    slope from these alone, where they tell."""

    serial: str
    jobs: int
    slope: float | None
    low: float | None
    high: float | None
    p: float | None
    told: bool
    axis: str
    since: str
    confounded_with: list[str] = field(default_factory=list)
    same_links: int = 0
    on_them: PairSlope | None = None

    def plain(self) -> dict[str, Any]:
        """As a row."""
        return {
            "serial": self.serial,
            "jobs": self.jobs,
            "slope_db_per_month": self.slope,
            "low": self.low,
            "high": self.high,
            "p": self.p,
            "told": self.told,
            "axis": self.axis,
            "since": self.since,
            "confounded_with": self.confounded_with,
            "same_links": self.same_links,
            "same_links_slope": None if self.on_them is None else self.on_them.slope,
            "same_links_low": None if self.on_them is None else self.on_them.low,
            "same_links_high": None if self.on_them is None else self.on_them.high,
        }

    def sentence(self, archive: str) -> str:
        """What may be relied on, for a unit that is told."""
        assert self.slope is not None and self.low is not None and self.high is not None
        ends = sorted((abs(self.low), abs(self.high)))
        of = "since each calibration" if self.axis == "calibration" else "over its time in use"
        changes = "loses" if self.slope < 0 else "gains"
        return (
            f"Unit {self.serial} {changes} {abs(self.slope):.3f} dB a month more than the typical unit "
            f"({ends[0]:.3f} to {ends[1]:.3f}), {of}, compared within crews and within cables of the same months: the "
            f"instrument, not the cable. {self._on_the_same_links}Its tests since {self.since} are in doubt: muniment "
            f"recall {archive} --serial "
            f"{self.serial} --since {self.since}"
        )

    @property
    def _on_the_same_links(self) -> str:
        """What links say that other units tested, too."""
        if self.on_them is None:
            return ""
        signed = (f"{v:+.3f}" for v in (self.on_them.slope, self.on_them.low, self.on_them.high))
        slope, low, high = signed
        links = counted(self.same_links, "link")
        return f"On {links} that other units tested too it is {slope} dB a month ({low} to {high}). "


@dataclass(frozen=True)
class OddCable:
    """A cable type and limit in one period whose margins differ from its other periods with every unit and crew."""

    cable_type: str
    limit: str
    period: str
    effect_db: float
    low: float
    high: float
    p: float
    jobs: int

    @property
    def sentence(self) -> str:
        """What may be relied on."""
        ends = sorted((abs(self.low), abs(self.high)))
        size = f"{abs(self.effect_db):.2f} dB {'less' if self.effect_db < 0 else 'more'}"
        return (
            f"Cable {self.cable_type} tested in {self.period} ({counted(self.jobs, 'job')}) has {size} margin than "
            f"cables of other periods ({ends[0]:.2f} to {ends[1]:.2f}), with units and crews accounted for: the cable "
            "or how it was laid, no single instrument."
        )


@dataclass(frozen=True)
class UnitsFound:
    """Units and cables; note: why nothing can be told, or ""."""

    units: list[UnitDrift]
    cables: list[OddCable]
    note: str = ""


def units(source: CountingSource, choice: Choice, parameter: str = LEADING) -> UnitsFound:
    """Every unit with enough jobs. parameter: whose margins, or LEADING for the leading margin; first tests alone."""
    rows = _medians(source, choice, parameter)
    number: dict[str, int] = {}
    for r in rows:
        number[r["serial"]] = number.get(r["serial"], 0) + 1
    rows = [r for r in rows if number[r["serial"]] >= LEAST_JOBS]
    span = {s: _months_between([r for r in rows if r["serial"] == s]) for s in {r["serial"] for r in rows}}
    rows = [r for r in rows if span[r["serial"]] >= LEAST_MONTHS]
    serials = sorted({r["serial"] for r in rows})
    if len(serials) < 2:
        least = f"{LEAST_JOBS} jobs over {LEAST_MONTHS} months, {LEAST_LINKS} links each"
        return UnitsFound([], [], f"drift is told of units with {least}, and of two at least: here are {len(serials)}")
    months = _period_length(rows)
    names = {
        "unit": [r["serial"] for r in rows],
        "crew": [r["crew"] for r in rows],
        "kind": [(r["cable_type"], r["limit"]) for r in rows],
        "lot": [(r["cable_type"], r["limit"], r["month"] // months) for r in rows],
    }
    codes = {n: _codes(v) for n, v in names.items()}
    y = np.array([r["margin"] for r in rows])
    date = np.array([float(r["month"]) for r in rows])
    calibrated = np.array([r["since_calibration"] for r in rows], np.float64)
    axes = {"date": date}
    known = {s for s in serials if all(r["since_calibration"] is not None for r in rows if r["serial"] == s)}
    resets = {s for s in known if len({r["calibrated_on"] for r in rows if r["serial"] == s}) > 1}
    if resets:
        axes["calibration"] = np.where([r["serial"] in resets for r in rows], calibrated, date)
    unit, crew, kind, lot = (codes[n][1] for n in ("unit", "crew", "kind", "lot"))
    same = SameLinks(source, choice, parameter, codes["unit"][0])
    pairs = {axis: same.pairs(resets if axis == "calibration" else set()) for axis in axes}
    made = {
        axis: drift.slopes(JobMargins(y, t, unit, crew, kind, date.astype(np.int64)), pairs[axis])
        for axis, t in axes.items()
    }
    alone = {axis: same.slopes(p) for axis, p in pairs.items()}
    units_found = [_unit(s, i, made, len(axes) if s in resets else 1, rows) for i, s in enumerate(codes["unit"][0])]
    corrected = drift.corrected([u.p for u in units_found])
    found = [
        replace(
            u,
            p=p,
            told=p is not None and p < drift.TOLD,
            same_links=same.links[i],
            on_them=alone[u.axis][i],
        )
        for i, (u, p) in enumerate(zip(units_found, corrected, strict=True))
    ]
    fitted = JobMargins(y, date, unit, crew, lot)
    told = [i for i, u in enumerate(found) if u.told]
    return UnitsFound(found, _odd(drift.cells(fitted, told), codes["lot"][0], lot, months))


def _medians(source: CountingSource, choice: Choice, parameter: str) -> list[dict[str, Any]]:
    """Median margin of each job by unit, crew, cable type and limit."""
    if not source.files.records:
        return []
    if parameter != LEADING and parameter not in source.files.parameters:
        return []
    margin = margin_column(parameter)
    where, values = choice.where()
    rows = source.arrow(
        "SELECT r.local_serial AS serial, coalesce(r.crew, '') AS crew, "
        "coalesce(r.cable_type, 'unknown') AS cable_type, "
        f"coalesce(r.limit_id, '') AS limit, coalesce({source.job}, '') AS job, r.calibrated_on AS calibrated_on, "
        f"median(r.year * 12 + r.month - 1)::INTEGER AS month, min(r.tested_local) AS day, median({margin})::DOUBLE AS "
        f"margin, count(*) AS n FROM {source.records} r WHERE {where} AND {choice.state} & {BITS['first']} > 0 AND "
        f"{margin} IS NOT NULL AND r.local_serial IS NOT NULL AND r.month IS NOT NULL GROUP BY ALL ORDER BY ALL",
        values,
    ).to_pylist()
    found = []
    for r in rows:
        if r["n"] < LEAST_LINKS:
            continue
        since = month_of(r["calibrated_on"])
        found.append({**r, "since_calibration": None if since is None else float(max(0, r["month"] - since))})
    return found


def _months_between(rows: Sequence[dict[str, Any]]) -> int:
    return int(max(r["month"] for r in rows) - min(r["month"] for r in rows))


def _period_length(rows: Sequence[dict[str, Any]]) -> int:
    """Months of a cell of cable and time: a quarter, or more where jobs are few."""
    for months in (3, 6, 12):
        cells = {(r["cable_type"], r["limit"], r["month"] // months) for r in rows}
        if len(rows) >= _CELL * len(cells):
            return months
    return 12


def _codes(values: Sequence[Any]) -> tuple[list[Any], Any]:
    names = sorted(set(values))
    number = {name: i for i, name in enumerate(names)}
    return names, np.array([number[v] for v in values], np.int64)


def _unit(
    serial: str, place: int, made: dict[str, list[Slope]], axes: int, rows: Sequence[dict[str, Any]]
) -> UnitDrift:
    own = [r for r in rows if r["serial"] == serial]
    listed = [(axis, slopes[place]) for axis, slopes in made.items() if axes > 1 or axis == "date"]
    axis, best = min(listed, key=lambda p: 2.0 if p[1].p is None else p[1].p)
    p = None if best.p is None else min(1.0, best.p * axes)
    calibrations = [r["calibrated_on"] for r in own if r["calibrated_on"]]
    since = max(calibrations) if axis == "calibration" and calibrations else min(r["day"] for r in own)
    return UnitDrift(
        serial,
        len(own),
        best.slope,
        best.low,
        best.high,
        p,
        False,
        axis,
        since[:10],
        _alone(serial, rows) if best.slope is None else [],
    )


def _alone(serial: str, rows: Sequence[dict[str, Any]]) -> list[str]:
    """Crews and cables that one unit alone has."""
    found = []
    for name, words in (("crew", "crew"), ("cable_type", "cable")):
        for value in sorted({r[name] for r in rows if r["serial"] == serial}):
            if {r["serial"] for r in rows if r[name] == value} == {serial}:
                found.append(f"{words} {value or 'unknown'}")
    return found


def _odd(effects: Sequence[CellEffect], names: Sequence[Any], cells: Any, months: int) -> list[OddCable]:
    """Cells that lie out even among cells that differ; corrected over all (Holm)."""
    known = [e for e in effects if e.error > 0]
    if len(known) < 5:
        return []
    value = np.array([e.effect for e in known])
    middle = float(np.median(value))
    spread = 1.4826 * float(np.median(np.abs(value - middle)))
    error = np.sqrt(np.array([e.error for e in known]) ** 2 + spread**2)
    freedom = len(known) / 2  # what a spread from the median of so many distances is worth, about
    p = holm([2 * t_tail(abs(v - middle) / e, freedom) for v, e in zip(value, error, strict=True)])
    out = []
    for e, one, corrected in zip(known, error.tolist(), p, strict=True):
        if corrected >= _CELLS_TOLD:
            continue
        cable, limit, number = names[e.cell]
        d = e.effect - middle
        jobs = int((cells == e.cell).sum())
        out.append(OddCable(cable, limit, _period(number, months), d, d - 1.96 * one, d + 1.96 * one, corrected, jobs))
    return sorted(out, key=lambda o: o.p)


def _period(number: int, months: int) -> str:
    year, part = divmod(number, 12 // months)
    return f"{year}" if months == 12 else f"{year}-{'Q' if months == 3 else 'H'}{part + 1}"


def known_parameter(word: str) -> bool:
    """Whether margins of this can be followed."""
    return word == LEADING or word in parameters()
