"""Who, where and when of simulated links: invented jobs, crews, instruments, labels and times.

A job is a run of JOB links. Each crew does one job in a week of its own, so no instrument is in two places at once.
Nothing here depends on how many links are asked for.
"""

from __future__ import annotations

import datetime as dt
import hashlib
from dataclasses import dataclass
from functools import cache
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np

from archive.demo import draws
from archive.tables import person_key, with_id

JOB = 480
"""Links of a job."""
PER_DAY = 160
WORK = dt.timedelta(days=28)
"""From the first day of a job to the start of its warranty, which is after its last test."""
CREWS = 8
FIRST_MONDAY = dt.date(2019, 1, 7)  # the editions of the limits were out by then
WEEKS = 358
_STRIDE = 157  # coprime to WEEKS, so that jobs are spread over the years from the first on

# Every name below is invented.
_SITES = (
    ("Lantern Quay 4", "Lantern Quay Trust", "Europe/Lisbon"),
    ("Ostermoor Campus", "Ostermoor Board of Works", "Europe/Berlin"),
    ("Fennel Street Library", "Fennel Street Reading Society", "Europe/London"),
    ("Kestrel Point Depot", "Kestrel Point Ferries", "America/Halifax"),
    ("Upper Saltings Hospital", "Saltings Infirmary Fund", "Europe/London"),
    ("Marrow Hill School", "Marrow Hill Parents' Union", "America/Chicago"),
)
_CREWS = ("blue crew", "night crew", "harbour crew", "north crew", "red crew", "second crew", "attic crew", "yard crew")
_PEOPLE = (
    "A. Quillfeather",
    "B. Ostrander",
    "C. Mossbank",
    "D. Tallow",
    "E. Verrin",
    "F. Oakapple",
    "G. Sandlark",
    "H. Brume",
)
_MODELS = (
    ("Petrel Metrology", "P-40", "V"),
    ("Corvane Instruments", "LineJudge 6", "V"),
    ("Petrel Metrology", "P-50", "V"),
)


@dataclass(frozen=True)
class SimulatedJob:
    """One invented job. number counts from 0; week is the Monday of the week in which its links were tested."""

    number: int
    job_id: str
    site: str
    client: str
    zone: str
    crew: int
    week: dt.date


@cache
def job(seed: int, number: int) -> SimulatedJob:
    """The job of a number."""
    crew, turn = number % CREWS, number // CREWS
    site, client, zone = _SITES[int(draws.uniform(seed, "site", [number])[0, 0] * len(_SITES))]
    week = FIRST_MONDAY + dt.timedelta(weeks=(turn * _STRIDE + crew * 67) % WEEKS)
    return SimulatedJob(number, f"SIM-{seed}-{number:04d}", site, client, zone, crew, week)


def row(j: SimulatedJob, limit_id: str) -> dict[str, Any]:
    """Its row of the table of jobs."""
    start = j.week + WORK
    end = start.replace(year=start.year + 25, day=min(start.day, 28))
    return {
        "job_id": j.job_id,
        "name": f"{j.site}, lot {j.number}",
        "client": j.client,
        "site": j.site,
        "zone": j.zone,
        "contractor": "Tern & Daughters",
        "crew": _CREWS[j.crew],
        "required_limit": limit_id,
        "warranty_start": start.isoformat(),
        "warranty_end": end.isoformat(),
        "comment": "invented by the link simulator",
    }


@cache
def source(seed: int, j: SimulatedJob) -> dict[str, Any]:
    """Its row of the table of sources."""
    path = f"simulated/{j.job_id}.csv"
    digest = hashlib.sha256(f"{seed} {path}".encode()).hexdigest()
    return {"source_id": digest, "path": path, "layout": "simulated", "reader": "muniment link simulator"}


def places(j: SimulatedJob, i: int) -> tuple[dict[str, Any], dict[str, Any]]:
    """Both ends of link i of a job: the panel, and an outlet on the same floor."""
    building, space, name = label(j.number, i).split("-")
    floor, room = space[:-1], space[-1]
    here = {"site": j.site, "building": building, "floor": floor, "valid_from": j.week.isoformat()}
    panel = {**here, "space": f"TR {floor}{room}", "panel": name[0], "port": name[1:]}
    return panel, {**here, "space": f"room {floor}{i % 40 + 1:02d}", "port": f"outlet {i // 40 + 1}"}


@cache
def instruments(seed: int, crew: int, week: dt.date) -> tuple[dict[str, Any], dict[str, Any]]:
    """Main and remote unit of a crew as calibrated last before a week: every 52 weeks, on a Saturday."""
    maker, model, level = _MODELS[crew % len(_MODELS)]
    number = int(draws.uniform(seed, "serial", [crew])[0, 0] * 9000) + 1000
    base = FIRST_MONDAY - dt.timedelta(days=2 + 364 + 7 * (crew * 11 % 52))
    calibrated = base + dt.timedelta(days=(week - base).days // 364 * 364)
    out = []
    for unit, tens in (("main", 0), ("remote", 1)):
        facts = {
            "maker": maker,
            "model": model,
            "serial": f"{crew + 1:02d}-{number}{tens}",
            "unit": unit,
            "software": f"{1 + (calibrated.year - 2014) // 3}.{(calibrated.year * 7) % 10}",
            "calibrated_on": calibrated.isoformat(),
            "calibration_due": (calibrated + dt.timedelta(days=364)).isoformat(),
            "accuracy_level": level,
            "adapter": f"permanent-link head {crew * 2 + tens + 1}",
        }
        out.append(with_id("instruments", facts))
    return out[0], out[1]


@cache
def operator(seed: int, crew: int) -> dict[str, Any]:
    """The person who leads a crew, with the key under which records name this person."""
    name = _PEOPLE[crew]
    salt = f"{int(draws.bits(seed, 'salt', [crew], 1)[0, 0]):016x}"
    return {
        "person_key": person_key(salt, name),
        "salt": salt,
        "name": name,
        "organisation": "Tern & Daughters",
        "role": "operator",
    }


def label(job: int, i: int) -> str:
    """Identifier of link i of a job in the manner of ANSI/TIA-606: building, floor and room, panel and port: 01-1A-B07.

    Each job is a building of its own, so that no label stands twice at a site.
    """
    room, panel, port = (i // 240) % 4, (i // 24) % 10, i % 24 + 1
    return f"{job + 1:02d}-{i // 960 + 1}{'ABCD'[room]}-{'ABCDEFGHJK'[panel]}{port:02d}"


@cache
def _offset(zone: str, day: dt.date) -> int:
    noon = dt.datetime(day.year, day.month, day.day, 12, tzinfo=ZoneInfo(zone))
    offset = noon.utcoffset()
    assert offset is not None
    return int(offset.total_seconds() // 60)


def sequence(within: Any, test: Any) -> Any:
    """Numbers of tests in the memory of the unit, from 1: of each day the first tests, then those of the evening.

    within: number of the link in its job; test: 0 for the first test, 1 for the second.
    """
    day, slot = within // PER_DAY, within % PER_DAY
    return (2 * day + test) * PER_DAY + slot + 1


def times(seed: int, j: SimulatedJob, within: Any, test: int, link: Any) -> tuple[Any, Any]:
    """Local times of tests as seconds since 1970 of the clock on the wall, and offsets from UTC in minutes.

    within: number of the link in its job; test: 0 for the first test, 1 for the second, made the same evening.
    """
    day, slot = within // PER_DAY, within % PER_DAY
    jitter = (draws.uniform(seed, f"time {test}", link)[:, 0] * 15).astype(np.int64)
    start = 8 * 3600 + slot * 175 + jitter * 4 if test == 0 else (16 + 1.6 * test) * 3600 + slot * 30 + jitter
    midnight = np.array([(j.week - dt.date(1970, 1, 1)).days + d for d in day.tolist()], dtype=np.int64) * 86400
    offset = np.array([_offset(j.zone, j.week + dt.timedelta(days=d)) for d in day.tolist()], dtype=np.int64)
    return midnight + np.asarray(start, dtype=np.int64), offset
