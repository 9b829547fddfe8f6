"""An invented archive of twenty years for an analyst's questions, with faults planted by a process that nothing fits.

    python -m tests.rates.twenty_years DIR [--seed N] [--nothing]

Jobs come at random times; their rates scatter with heavy tails (a t with 3 degrees of freedom on the logit) and their
margins with a t of 4; crews change contractors and exchange units; lots of cable overlap and their margins differ;
one job in eight says no serial number; instruments of three kinds leave whole curves, worst points or a verdict alone.
Planted: a crew that builds worse, a lot of cable that is bad, a unit that drifts, two contractors whose order turns
round within the cables, mended links (some by other jobs), copied curves, first fails of less evidence than the retest,
later fails of less evidence, labels used again for another cable. With --nothing none of it is planted.
"""

from __future__ import annotations

import argparse
import os
from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

import numpy as np

from archive import store
from archive.tables import Batch, with_id
from tests.store import store_making as making

FIRST_YEAR = 2004
GOOD, HARD, SIX = "cat6a/f-utp/awg23/solid", "cat6a/u-utp/awg23/solid", "cat6/u-utp/awg23/solid"
CABLES = (GOOD, HARD, SIX)
LIMITS = {
    GOOD: "TIA 568.2-D Cat 6A permanent link",
    HARD: "TIA 568.2-D Cat 6A permanent link",
    SIX: "TIA 568.2-D Cat 6 permanent link",
}
CONTRACTORS = ("Halyard", "Quillon", "Tern")
CREWS = tuple(f"crew {n:02d}" for n in range(1, 13))
BAD_CREW = "crew 07"
DRIFT_UNIT, DRIFT = "T-05", -0.043
MENDED = 0.85
REUSED = 15
DRIFTS_FOR = 40
"""Months until somebody takes it out of use."""
SPREAD = 0.6
"""Of the rates of jobs on the logit: an intra-job correlation of about 0.015 at 96 %."""


@dataclass(frozen=True)
class Size:
    """years, jobs_a_month: how many; links: median of a job."""

    years: int = 20
    jobs_a_month: float = 4.5
    links: int = 14


@dataclass
class Job:
    """A job as it was drawn. logit: what its fixed circumstances make of a first test, without what is its own;
    level: of its margins in dB, all included but the own scatter of links."""

    number: int
    month: int
    day: int
    site: str
    crew: str
    contractor: str
    cable: str
    lot: int
    serial: str
    told_serial: str | None
    kind: str
    n: int
    logit: float
    own: float
    level: float
    length: Any = field(default_factory=lambda: np.zeros(0))

    @property
    def id(self) -> str:
        """Its name."""
        return f"TY-{self.number:04d}"

    @property
    def year(self) -> int:
        """Of its tests."""
        return FIRST_YEAR + self.month // 12


@dataclass(frozen=True)
class Lot:
    """Cable of one delivery, sold from a month on for a while; effect: on margins, in dB; bad: the planted one."""

    cable: str
    begin: float
    end: float
    effect: float
    bad: bool = False


@dataclass
class World:
    """What was drawn before any job: who works where, with what, on what."""

    size: Size
    planted: bool
    lots: list[Lot]
    crew_effect: dict[str, float]
    jobs: list[Job]
    drift_from: int

    @property
    def months(self) -> int:
        """Of the whole archive."""
        return 12 * self.size.years


def _chance(logit: Any) -> Any:
    return 1 / (1 + np.exp(-np.asarray(logit, np.float64)))


_T3 = np.random.default_rng(0).standard_t(3, 4001) / np.sqrt(3)


def expected(logit: float) -> float:
    """Rate at which jobs of these circumstances pass the first test, over what is their own."""
    return float(_chance(logit + SPREAD * _T3).mean())


def world(seed: int, planted: bool = True, size: Size | None = None) -> World:
    """Draws everything but the links."""
    size = size or Size()
    draw = np.random.default_rng([20, seed])
    months = 12 * size.years
    lots = _lots(draw, months, planted)
    crew_effect = {c: 0.15 * float(draw.standard_t(4)) for c in CREWS}
    drift_from = months // 2
    made = World(size, planted, lots, crew_effect, [], drift_from)
    units = [f"T-{n:02d}" for n in range(1, 4 + size.years // 2)]
    # a unit is in use for seven to ten years; the one that drifts is bought when its drift begins
    begin = {u: int(-30 + i * (months + 20) / len(units)) for i, u in enumerate(units)}
    begin[DRIFT_UNIT] = drift_from
    end = {u: b + int(draw.integers(84, 120)) for u, b in begin.items()}
    if planted:
        end[DRIFT_UNIT] = drift_from + DRIFTS_FOR
    unit_effect = {u: float(draw.normal(0, 0.2)) for u in units}
    contractor_of: dict[str, str] = {}
    unit_of: dict[str, str] = {}
    number = 0
    for month in range(months):
        if month % 40 == 0:  # crews change contractors
            contractor_of = {c: str(draw.choice(CONTRACTORS, p=[0.4, 0.4, 0.2])) for c in CREWS}
            contractor_of[BAD_CREW] = "Tern"
        there = [u for u in units if begin[u] <= month < end[u]]
        if month % 9 == 0 or any(u not in there for u in unit_of.values()):  # and units are exchanged
            unit_of = {c: str(draw.choice(there)) for c in CREWS}
        for _ in range(draw.poisson(size.jobs_a_month)):
            crew = str(draw.choice(CREWS))
            serial = unit_of[crew] if draw.random() < 0.7 else str(draw.choice(there))
            contractor = contractor_of[crew]
            share = {"Halyard": [0.15, 0.7, 0.15], "Quillon": [0.7, 0.15, 0.15]}.get(contractor, [0.4, 0.2, 0.4])
            cable = str(draw.choice(CABLES, p=share if planted else [0.4, 0.3, 0.3]))
            sold = [i for i, lot in enumerate(lots) if lot.cable == cable and lot.begin <= month < lot.end]
            lot = int(draw.choice(sold))
            n = int(np.clip(np.rint(np.exp(draw.normal(np.log(size.links), 0.8))), 5, 150))
            length = np.clip(draw.gamma(6, 1, n) * draw.uniform(5, 9), 4, 92).round(1)
            job = Job(
                number,
                month,
                int(draw.integers(1, 28)),
                f"Site {int(draw.integers(0, 40)):02d}",
                crew,
                contractor,
                cable,
                lot,
                serial,
                None if draw.random() < 0.125 else serial,
                str(draw.choice(["worst-points", "verdict-only", "full-sweep"], p=[0.82, 0.15, 0.03])),
                n,
                _logit(made, crew, contractor, cable, lots[lot]),
                SPREAD * float(draw.standard_t(3)) / 3**0.5,
                4.0 + lots[lot].effect + crew_effect[crew] + unit_effect[serial] + 0.12 * float(draw.standard_t(4)),
                length,
            )
            if planted and serial == DRIFT_UNIT:
                job.level += DRIFT * (month - drift_from)
            made.jobs.append(job)
            number += 1
    return made


def _lots(draw: Any, months: int, planted: bool) -> list[Lot]:
    lots = []
    for cable in CABLES:
        at = -8.0
        while at < months:
            lots.append(Lot(cable, at, at + float(draw.uniform(8, 14)), float(draw.normal(0, 0.3))))
            at += float(draw.uniform(3, 6))  # the next begins before this one is sold out
    if planted:
        begin = float(int(months * 0.3) // 3 * 3)
        # one delivery: nothing else of this cable is sold in these months
        lots = [x for x in lots if x.cable != GOOD or x.end <= begin or x.begin >= begin + 6] + [
            replace(x, end=begin) for x in lots if x.cable == GOOD and x.begin < begin < x.end
        ]
        lots += [Lot(GOOD, begin, begin + 6, -1.5, True), Lot(GOOD, begin + 6, begin + 14, 0.0)]
    return lots


def _logit(made: World, crew: str, contractor: str, cable: str, lot: Lot) -> float:
    if not made.planted:
        return 3.4
    at = {GOOD: 4.2, HARD: 2.3, SIX: 3.6}[cable]
    at += {"Halyard": 0.8, "Quillon": -0.4, "Tern": 0.0}[contractor]
    return at - 1.3 * (crew == BAD_CREW) - 2.4 * lot.bad


@dataclass
class Link:
    """What is so of a link. passes: its first test; passes_now: its last one; evidence: of the test that decides; now,
    now_of: the job as it was then, and its name."""

    job: Job
    length: float
    passes: bool
    passes_now: bool
    evidence: str
    now: Job
    now_of: str
    later_fail: bool = False


@dataclass
class Truth:
    """What is so. links: of all jobs, but those whose labels were used again; copied: labels that hold the curves of
    another link; reused: cables of the links whose labels were used again, one of each cable; mixed: links whose first
    test failed and was kept with less evidence than the second."""

    world: World
    links: list[Link] = field(default_factory=list)
    copied: list[Job] = field(default_factory=list)
    reused: list[str] = field(default_factory=list)
    mixed: int = 0


class _Building:
    """Records of the jobs, in batches of a year."""

    def __init__(self, archive: store.Archive, made: World, seed: int) -> None:
        self._archive, self._world = archive, made
        self._draw = np.random.default_rng([21, seed])
        self._listed: list[making.Rows] = []
        self._later: list[tuple[int, Job, dict[str, Any]]] = []
        self._serial = 0
        self.truth = Truth(made)
        self._old = next((j for j in made.jobs if j.cable == GOOD and j.n >= 15 and j.kind == "worst-points"), None)

    def run(self) -> Truth:
        """All of it."""
        for year in range(self._world.size.years):
            for job in (j for j in self._world.jobs if j.month // 12 == year):
                self._job(job)
            for _, job, facts in (x for x in self._later if x[0] // 12 == year):
                self._record(job, **facts)
            self._later = [x for x in self._later if x[0] // 12 > year]
            if self._world.planted and self._old is not None and year == self._world.size.years - 1:
                self._again(self._old)
            if self._listed:
                making.deposit(self._archive, _batches(self._listed), job=None)
            self._listed = []
        return self.truth

    def _job(self, job: Job) -> None:
        draw = self._draw
        passes = draw.random(job.n) < _chance(job.logit + job.own)
        noise = 0.6 * draw.standard_t(4, job.n) / 2**0.5 - 0.015 * (job.length - 45)
        margin = np.maximum(job.level + noise, 0.05)
        margin = np.where(passes, margin, -0.1 - draw.exponential(0.8, job.n))
        for k in range(job.n):
            label = f"{job.number:04d}-{k:03d}"
            facts = {"label": label, "length": float(job.length[k]), "time": self._time(job.month, job.day, k)}
            facts |= {"evidence": job.kind, "margin": float(margin[k]), "passes": bool(passes[k])}
            link = Link(job, facts["length"], facts["passes"], facts["passes"], job.kind, job, job.id)
            if not self._reuses(job, k):
                self.truth.links.append(link)
            if not passes[k]:
                self._failing(link, k, facts)
            else:
                self._record(job, **facts)
                self._fails_later(link, k, facts)
        if self._world.planted and job.kind == "full-sweep" and len(self.truth.copied) < 12:
            self._copies(job, np.flatnonzero(passes)[:4].tolist())

    def _reuses(self, job: Job, k: int) -> bool:
        """Whether the label of a link is used again later."""
        return self._world.planted and job is self._old and k < REUSED

    def _failing(self, link: Link, k: int, facts: dict[str, Any]) -> None:
        """A first test that fails; of most links a second one that passes, by this job or by another."""
        draw, job = self._draw, link.job
        less = self._world.planted and job.kind != "verdict-only" and draw.random() < 0.25
        self._record(job, **{**facts, "evidence": "verdict-only"} if less else facts)
        if draw.random() > MENDED or self._reuses(job, k):
            link.evidence = "verdict-only" if less else job.kind
            return
        link.passes_now = True
        self.truth.mixed += less
        again = {**facts, "passes": True, "margin": abs(float(draw.normal(2, 0.6))) + 0.1}
        if draw.random() < 0.7:
            self._record(job, **{**again, "time": self._time(job.month, job.day, 300 + k)})
            return
        month = min(job.month + int(draw.integers(1, 3)), self._world.months - 1)
        other = replace(job, crew=str(draw.choice(CREWS)), month=month)
        link.now, link.now_of = other, f"{job.id}-M"
        self._later.append((month, other, again | {"time": self._time(month, 28, 200 + k), "of": link.now_of}))

    def _fails_later(self, link: Link, k: int, facts: dict[str, Any]) -> None:
        job, month = link.job, link.job.month + 40
        if not self._world.planted or job.kind == "verdict-only" or self._draw.random() > 0.002:
            return
        if month < self._world.months and not self._reuses(job, k):
            link.later_fail = True
            again = {**facts, "passes": False, "evidence": "verdict-only", "of": f"{job.id}-S"}
            self._later.append((month, replace(job, month=month), again | {"time": self._time(month, 28, k)}))

    def _copies(self, job: Job, some: list[int]) -> None:
        """Curves of some links again, under labels of links that nobody tested."""
        for k in some:
            self.truth.copied.append(job)
            facts = {"label": f"{job.number:04d}-C{k:02d}", "length": float(job.length[k]), "evidence": "full-sweep"}
            facts |= {"time": self._time(job.month, job.day, 607 + k), "margin": 3.0, "passes": True}
            first = self._time(job.month, job.day, k)
            self._record(job, **facts, curves=f"{job.number:04d}-{k:03d}{first}")

    def _again(self, old: Job) -> None:
        """Labels of an old job used again, for another cable of another length."""
        month = min(old.month + 60, self._world.months - 1)
        new = replace(old, cable=HARD, month=month)
        for k in range(REUSED):
            self.truth.reused += [old.cable, new.cable]
            facts = {"label": f"{old.number:04d}-{k:03d}", "length": float(old.length[k]) + 25.0, "margin": 3.0}
            facts |= {"time": self._time(month, 12, k), "evidence": "worst-points", "passes": True}
            self._record(new, **facts, of=f"{old.id}-R")

    def _time(self, month: int, day: int, minute: int) -> str:
        year, m = FIRST_YEAR + month // 12, month % 12 + 1
        return f"{year}-{m:02d}-{day:02d}T{7 + minute // 60:02d}:{minute % 60:02d}"

    def _record(
        self,
        job: Job,
        *,
        label: str,
        length: float,
        time: str,
        evidence: str,
        margin: float,
        passes: bool,
        curves: str | None = None,
        of: str | None = None,
    ) -> None:
        self._serial += 1
        unit = _unit(job.told_serial)
        job_id = of or job.id
        swept = evidence == "full-sweep"
        said = "pass" if passes else "fail"
        more = {"job_id": job_id, "cable_type": job.cable, "limit_found": LIMITS[job.cable], "evidence": evidence}
        more |= {"local_instrument_id": unit["instrument_id"], "reported_verdict": said}
        more["source"] = f"{job.number:060d}{job.month % 12:04d}"
        made = making.rows(label, time=time, place=f"row {self._serial}", **more)
        if swept:
            own = np.random.default_rng([*f"{curves or label + time}".encode()])
            for sweep in made["sweeps"]:
                sweep["values"] = [round(v + x, 1) for v, x in zip(sweep["values"], own.normal(0, 1, 12), strict=True)]
        record = made["records"][0]["record_id"]
        verdict: dict[str, Any] = {"record_id": record, "provisional": False, "limits_version": "t", "program": "tests"}
        verdict["verdict"] = said if swept else "not graded"
        if evidence != "verdict-only":
            verdict |= {"leading_parameter": "next", "leading_pairing": "1-2/3-6", "leading_margin": round(margin, 2)}
        made["readings"] = [r for r in made["readings"] if r["quantity"] == "length"]
        made["readings"][0]["value"] = round(length, 1)
        crew = {"job_id": job_id, "site": job.site, "crew": job.crew, "contractor": job.contractor}
        gone: making.Rows = {} if swept else {"sweeps": []}
        self._listed.append(
            {**made, "wiremap": [], **gone, "instruments": [unit, making.FAR], "verdicts": [verdict], "jobs": [crew]}
        )


def _batches(listed: list[making.Rows]) -> Iterator[Batch]:
    for first in range(0, len(listed), 500):
        joined: making.Rows = {}
        shared: dict[str, dict[str, Any]] = {}
        for one in listed[first : first + 500]:
            for name, rows in one.items():
                if name in ("records", "sweeps", "readings", "verdicts"):
                    joined.setdefault(name, []).extend(rows)
                else:
                    shared.setdefault(name, {}).update((str(r), r) for r in rows)
        yield Batch.from_rows({**joined, **{name: list(rows.values()) for name, rows in shared.items()}})


def _unit(serial: str | None) -> dict[str, Any]:
    said = {"maker": "Petrel Metrology", "model": "P-40", "unit": "main"}
    return with_id("instruments", said if serial is None else {**said, "serial": serial})


def build(path: Path, seed: int, planted: bool = True, size: Size | None = None) -> Truth:
    """Makes an archive; what is so in it."""
    archive = store.create(path)
    try:
        return _Building(archive, world(seed, planted, size), seed).run()
    finally:
        archive.db.close()


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("folder", type=Path)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--nothing", action="store_true")
    chosen = parser.parse_args()
    os.fsync = lambda _handle: None
    build(chosen.folder, chosen.seed, not chosen.nothing)
