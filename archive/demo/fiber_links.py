"""The simulator of optical links: any number of invented duplex links, their loss tests and traces from both ends.

    for batch in simulate_fiber(1000, seed=1, glass="os2", traces=True): ...

Link k depends on (seed, options, k) alone. A link is glass with what lies along it: two end connections, one in
between, splices, and perhaps a fault. A loss test measures the sum of it; a trace sees each place, a splice between
unlike fibers larger from one end and smaller from the other. Numbers: schemas/simulator.toml, [fiber].
"""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from functools import cache
from typing import Any

import numpy as np

from archive import schemas
from archive.demo import draws
from archive.demo.backbone.trace_bytes import WrittenEvent
from archive.demo.backbone.trace_shape import levels
from archive.errors import Trouble
from archive.tables import Batch, axis_row, with_id

FAULTS = ("dirty", "bend", "splice", "drift")
"""A dirty connector, a bend, a bad splice, a reference that drifted."""
WAYS = ("local-remote", "remote-local")
_FIBERS = "AB"
_FIRST_DAY = dt.datetime(2021, 3, 1, 8)


@dataclass(frozen=True)
class FiberOptions:
    """What to simulate. glass: os2, om3, om4. fault_share: of the links, each with one fault of FAULTS. traces: adds
    traces of fiber A from both ends; points: with their curves. more_nm: wavelengths that traces have beside those of
    the loss tests. records: links of a batch."""

    glass: str = "os2"
    fault_share: float = 0.03
    traces: bool = False
    points: bool = True
    more_nm: tuple[float, ...] = ()
    records: int = 100

    def checked(self) -> FiberOptions:
        """Self. Errors: Trouble for a class of fiber that the simulator has not, or a share out of range."""
        if self.glass not in facts()["class"]:
            raise Trouble("the simulator has no such class of fibre", code="simulator.unknown-category",
                          found=self.glass, expected=", ".join(facts()["class"]))  # fmt: skip
        if not 0 <= self.fault_share <= 1 or not 1 <= self.records <= 100:
            raise Trouble("share of faults, or links of a batch, out of range", code="simulator.out-of-range",
                          found=f"{self.fault_share}, {self.records}", expected="0 to 1, 1 to 100")  # fmt: skip
        return self


@cache
def facts() -> dict[str, Any]:
    """The numbers of fiber."""
    found: dict[str, Any] = schemas.load("simulator.toml")["fiber"]
    return found


@dataclass(frozen=True)
class Place:
    """What lies along a fiber. km: from the local end. db: at any wavelength; bend_db: at 1550 nm, more at longer ones.
    apparent: by how much it looks larger from the local end. reflectance: dB, 0.0 for none."""

    km: float
    db: float
    bend_db: float = 0.0
    apparent: float = 0.0
    reflectance: float = 0.0

    def loss(self, nm: float) -> float:
        """True loss at a wavelength, dB."""
        bend = facts()["bend"]
        return self.db + self.bend_db * math.exp((nm - bend["nm"]) / bend["e_fold_nm"])


@dataclass(frozen=True)
class FiberLink:
    """One link. length_km; fault: one of FAULTS or ""; places by fiber, between its ends; ends: loss of both end
    connections by fiber, dB; slope: share by which its glass loses more than db_km."""

    number: int
    glass: str
    length_km: float
    fault: str
    drift_db: float
    slope: float
    places: dict[str, tuple[Place, ...]]
    ends: dict[str, tuple[float, float]]

    @property
    def label(self) -> str:
        """Its label."""
        return f"FB-{self.number // 144 + 1:02d}-{self.number % 144 + 1:03d}"

    @property
    def splices(self) -> int:
        """Splices along fiber A."""
        return sum(not p.reflectance and not p.bend_db for p in self.places["A"])

    def db_km(self, nm: float) -> float:
        """Coefficient of its glass, dB/km. Errors: KeyError for a wavelength that this class has not."""
        return float(facts()["class"][self.glass]["db_km"][f"{nm:g}"]) * (1 + self.slope)

    def loss(self, fiber: str, nm: float) -> float:
        """True loss of a fiber with both end connections, dB."""
        inside = sum(p.loss(nm) for p in self.places[fiber])
        return self.length_km * self.db_km(nm) + inside + sum(self.ends[fiber])


def fiber_link(seed: int, k: int, o: FiberOptions) -> FiberLink:
    """Link k, with the truth of it."""
    known, f = facts()["class"][o.glass], facts()
    u = draws.uniform(seed, f"fiber {o.glass}", [k], 64)[0].tolist()
    z = draws.normal(seed, f"glass {o.glass}", [k], 16)[0].tolist()
    low, high = known["length_m"]
    km = round(low * (high / low) ** u[0] / 1000, 4)
    fault = FAULTS[int(u[2] * len(FAULTS))] if u[1] < o.fault_share else ""
    if fault == "bend" and o.glass != "os2":
        fault = "dirty"  # multimode fiber hardly loses more by a bend at longer wavelengths
    count = int(km * 1000 // f["meters_per_splice"]) + (fault == "splice")
    places, ends = {}, {}
    for at, fiber in enumerate(_FIBERS):
        own = u[4 + 24 * at : 28 + 24 * at]
        listed = [Place(round(km * 0.3, 4), _between(f["connection_db"], own[0]), reflectance=known["reflectance_db"])]
        for n in range(count):
            db = _between(f["bad_splice_db"] if fault == "splice" and n == 0 else f["splice_db"], own[4 + n % 12])
            where = km * (0.45 + 0.4 * (n + own[16]) / max(count, 1))
            listed.append(Place(round(where, 4), db, apparent=f["mismatch_db"] * z[(at * 6 + n) % 16]))
        if fault == "dirty":
            dirty = f["dirty"]
            listed[0] = replace(listed[0], db=_between(dirty["db"], own[1]), reflectance=dirty["reflectance_db"])
        if fault == "bend":
            listed.append(Place(round(km * 0.93, 4), 0.0, bend_db=_between(f["bend"]["db"], own[2])))
        places[fiber] = tuple(sorted(listed, key=lambda p: p.km))
        ends[fiber] = (_between(f["connection_db"], own[17]), _between(f["connection_db"], own[18]))
    drift = _between(f["drift_db"], u[3]) if fault == "drift" else 0.0
    return FiberLink(k, o.glass, km, fault, drift, f["spread"] * max(-2.0, min(2.0, z[15])) / 2, places, ends)


def _between(ends: Sequence[float], share: float) -> float:
    return round(ends[0] + (ends[1] - ends[0]) * share, 3)


def simulate_fiber(
    n: int, seed: int = 1, options: FiberOptions | None = None, *, start: int = 0, **changes: Any
) -> Iterator[Batch]:
    """Links start to start + n, in order, as batches: a loss test of each, then its traces.

    changes: fields of FiberOptions by name. Errors: Trouble for an option out of range; TypeError for an unknown one.
    """
    o = replace(options or FiberOptions(), **changes).checked()
    for first in range(start, start + n, o.records):
        rows: dict[str, list[dict[str, Any]]] = {}
        for k in range(first, min(first + o.records, start + n)):
            link = fiber_link(seed, k, o)
            _loss_test(seed, link, rows)
            if o.traces:
                _traces(seed, link, o, rows)
        places = [_place(name) for name in ("FD-1", "MDF")]
        rows |= {"places": places, "axes": list({r["axis_id"]: r for r in rows.get("axes", [])}.values())}
        yield Batch.from_rows(rows)


def _place(name: str) -> dict[str, Any]:
    return with_id("places", {"space": name})


def _record(link: FiberLink, name: str, seconds: int) -> dict[str, Any]:
    known = facts()["class"][link.glass]
    when = _FIRST_DAY + dt.timedelta(minutes=3 * (link.number % 160), days=link.number // 160, seconds=seconds)
    ends = {f"{end}_place_id": _place(name)["place_id"] for end, name in (("local", "FD-1"), ("remote", "MDF"))}
    return {
        "record_id": f"re-fiber-{link.glass}-{link.number}-{name}",
        "medium": "fiber",
        "link_label": link.label,
        "job_id": "SIM-FIBER",
        **ends,
        "cable_type": known["type"],
        "group_index": known["index"],
        "tested_local": when.isoformat(),
    }


def _loss_test(seed: int, link: FiberLink, rows: dict[str, list[dict[str, Any]]]) -> None:
    known = facts()["class"][link.glass]
    record = _record(link, "loss", 0)
    record |= {"limit_found": known["limit_words"], "reference_method": "one-cord", "connector_grade": "standard-grade"}
    record |= {"connections": 3, "splices": link.splices, "evidence": "optical-loss", "polarity_method": "duplex"}
    record["launch_condition"] = "encircled-flux" if link.glass != "os2" else None
    rows.setdefault("records", []).append(record)
    noise = iter(draws.normal(seed, f"meter {link.glass}", [link.number], 16)[0].tolist())
    readings = rows.setdefault("readings", [])
    shared = {"record_id": record["record_id"], "origin": "measured"}
    for fiber in _FIBERS:
        readings.append({**shared, "quantity": "length", "subject": fiber, "value": round(link.length_km * 1000, 1)})
        for nm in known["tested_nm"]:
            for way in WAYS:
                db = link.loss(fiber, nm) - link.drift_db + facts()["meter_db"] * next(noise)
                where = {"subject": fiber, "direction": way, "wavelength_nm": float(nm)}
                readings.append({**shared, "quantity": "optical_loss", **where, "value": round(db, 2), "step": 0.01})


def _traces(seed: int, link: FiberLink, o: FiberOptions, rows: dict[str, list[dict[str, Any]]]) -> None:
    waves = [*facts()["class"][link.glass]["tested_nm"], *o.more_nm]
    for turn, (nm, way) in enumerate((nm, way) for nm in waves for way in WAYS):
        record = _record(link, f"trace-{nm:g}-{way}", 20 + 10 * turn) | {"evidence": "optical-trace"}
        rows.setdefault("records", []).append(record)
        where = {"wavelength_nm": float(nm), "direction": way}
        shared = {"record_id": record["record_id"], **where}
        events = seen(link, nm, way)
        rows.setdefault("trace_events", []).extend(
            {
                **shared, "fiber": "A", "number": n, "kind": _kind(e), "distance_km": e.km, "loss_db": e.loss_db,
                "reflectance_db": e.reflectance_db or None, "slope_db_km": round(e.slope_db_km, 3), "code": e.code,
            }
            for n, e in enumerate(events, start=1)
        )  # fmt: skip
        total = link.length_km * link.db_km(nm) + sum(e.loss_db for e in events)
        given = [("trace_loss", round(total, 3)), ("length", round(link.length_km * 1000, 1))]
        rows.setdefault("readings", []).extend(
            {**shared, "subject": "A", "origin": "measured", "quantity": q, "value": v} for q, v in given
        )
        if o.points:
            _curve(seed, link, shared, events, rows)


def seen(link: FiberLink, nm: float, way: str) -> list[WrittenEvent]:
    """The events of fiber A that a trace sees from one end, in their order from there."""
    back = way == WAYS[1]
    slope = link.db_km(nm)
    found = [WrittenEvent(0.0, 0.0, -45.0, "1F9999")]
    for place in sorted(link.places["A"], key=lambda p: p.km, reverse=back):
        km = round(link.length_km - place.km if back else place.km, 6)
        db = round(place.loss(nm) + (-place.apparent if back else place.apparent), 3)
        found.append(WrittenEvent(km, db, place.reflectance, "1F9999" if place.reflectance else "0F9999", slope))
    return [*found, WrittenEvent(link.length_km, 0.0, -14.0, "1E9999", slope)]


def _kind(event: WrittenEvent) -> str:
    if event.code[1] == "E":
        return "end"
    return "launch" if event.km == 0 else "reflective" if event.reflectance_db else "non-reflective"


def _curve(
    seed: int, link: FiberLink, shared: dict[str, Any], events: Sequence[WrittenEvent], rows: dict[str, Any]
) -> None:
    metres = 1.0 if link.glass == "os2" else 0.25
    own = seed * 1_000_003 + link.number * 101 + int(shared["wavelength_nm"]) + (shared["direction"] == WAYS[1])
    index = facts()["class"][link.glass]["index"]
    level = levels(events, link.db_km(shared["wavelength_nm"]), point_m=metres, pulse_ns=30, index=index, seed=own)
    axis = axis_row(np.round(np.arange(len(level)) * metres / 1000, 9), "distances_km")
    rows.setdefault("axes", []).append(axis)
    values = np.round(0.0 - level, 3) + 0.0
    rows.setdefault("sweeps", []).append(
        {**shared, "parameter": "backscatter", "pairing": "A", "origin": "measured", "axis_id": axis["axis_id"],
         "values": values, "step": 0.001}
    )  # fmt: skip
