"""Traces of one fiber against each other: means of both directions, wavelengths compared, echoes, dead zones."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from itertools import pairwise
from typing import Any

from archive.grading.fiber.graded_rows import FAIL, PASS
from archive.grading.fiber.link_grade import tolerance
from archive.limits.fiber import event_limits

Event = Mapping[str, Any]
LIGHT_M_PER_NS = 0.299792458
"""Speed of light, exact by the definition of the metre (SI)."""


@dataclass(frozen=True)
class FiberTrace:
    """The trace of one fiber at one wavelength from one side. direction: "" where it is not stated. events: rows of
    trace_events in their order. pulse_ns, index: None where they are not known."""

    nm: float | None
    direction: str
    events: Sequence[Event]
    pulse_ns: float | None = None
    index: float | None = None

    @property
    def end_km(self) -> float | None:
        """Where the fiber ends; None where no event says so."""
        ends = [e["distance_km"] for e in self.events if e["kind"] == "end" and e["distance_km"] is not None]
        return ends[-1] if ends else None

    @property
    def inner(self) -> list[Event]:
        """Events between launch and end, with a distance."""
        return [e for e in self.events if e["kind"] not in ("launch", "end") and e["distance_km"] is not None]

    @property
    def dead_zone_m(self) -> float | None:
        """Length of the pulse in the fiber: what follows a reflection nearer than this is not seen."""
        if self.pulse_ns is None or self.index is None:
            return None
        return self.pulse_ns * LIGHT_M_PER_NS / self.index / 2


@dataclass
class FiberPlace:
    """One place along a fiber, seen by several traces. km: from the local end. losses: dB by nm and direction.

    reflective: any trace saw a reflection there.
    """

    km: float
    reflective: bool = False
    losses: dict[tuple[float | None, str], float] = field(default_factory=dict)
    reflectances: dict[tuple[float | None, str], float] = field(default_factory=dict)
    numbers: dict[tuple[float | None, str], int] = field(default_factory=dict)

    def mean(self, nm: float | None) -> float | None:
        """The mean of both directions at a wavelength; None where one is missing."""
        both = [self.losses.get((nm, way)) for way in ("local-remote", "remote-local")]
        return None if None in both else round(sum(v for v in both if v is not None) / 2, 6)

    def verdict(self, nm: float | None) -> tuple[str, float] | None:
        """Verdict and limit of the mean, a place with a reflection taken for a connection; None without a mean."""
        mean = self.mean(nm)
        if mean is None:
            return None
        limit = event_limits().connection.db if self.reflective else event_limits().splice.db
        return (PASS if mean <= limit + 1e-9 else FAIL), limit

    @property
    def gainer(self) -> bool:
        """Whether it looks like a gain from one side."""
        return any(loss < 0 for loss in self.losses.values())

    def at(self, nm: float | None) -> float | None:
        """Loss at a wavelength: the mean of both directions, else the one that is there."""
        mean = self.mean(nm)
        one = [loss for (wave, _), loss in self.losses.items() if wave == nm]
        return mean if mean is not None else (one[0] if len(one) == 1 else None)


def places(traces: Sequence[FiberTrace]) -> list[FiberPlace]:
    """Places along the fiber, in order from the local end; a trace without direction counts as one from there."""
    found: list[FiberPlace] = []
    ends = [t.end_km for t in traces if t.end_km]
    length = sum(ends) / len(ends) if ends else None
    for trace in traces:
        turned = trace.direction == "remote-local"
        if turned and trace.end_km is None:
            continue
        for event in trace.inner:
            km = event["distance_km"] if not turned or trace.end_km is None else trace.end_km - event["distance_km"]
            _put(found, km, trace, event, length)
    return sorted(found, key=lambda p: p.km)


def _put(found: list[FiberPlace], km: float, trace: FiberTrace, event: Event, length: float | None) -> None:
    room = max(tolerance("same_place_m") / 1000, (length or 0.0) * tolerance("same_place_share"))
    key = (trace.nm, trace.direction)
    near = [p for p in found if abs(p.km - km) <= room and key not in p.losses]
    place = min(near, key=lambda p: abs(p.km - km), default=None)
    if place is None:
        place = FiberPlace(km)
        found.append(place)
    if event["loss_db"] is not None:
        place.losses[key] = event["loss_db"]
    if event["reflectance_db"] is not None:
        place.reflectances[key] = event["reflectance_db"]
    place.reflective = place.reflective or event["kind"] in ("reflective", "saturated")
    place.numbers[key] = event["number"]


def echoes(trace: FiberTrace) -> list[int]:
    """Numbers of events that may be echoes: weaker reflections without loss at twice the distance of another, or at the
    sum of two."""
    found = []
    strong = [e for e in trace.events if e["kind"] in ("reflective", "saturated", "end") and e["distance_km"]]
    room = tolerance("same_place_m") / 1000
    for event in trace.inner:
        if event["kind"] != "reflective" or abs(event["loss_db"] or 0.0) > 0.05:
            continue
        before = [e for e in strong if e is not event and e["distance_km"] < event["distance_km"] and _weaker(event, e)]
        sums = [a["distance_km"] + b["distance_km"] for a in before for b in before]
        if any(abs(event["distance_km"] - total) <= room for total in sums):
            found.append(event["number"])
    return found


def _weaker(event: Event, other: Event) -> bool:
    mine, theirs = event["reflectance_db"], other["reflectance_db"]
    return mine is None or theirs is None or mine <= theirs - tolerance("echo_weaker_db")


def in_dead_zone(trace: FiberTrace) -> list[tuple[int, int]]:
    """Pairs of events of which the second lies in the dead zone of the first, by number."""
    zone = trace.dead_zone_m
    if zone is None:
        return []
    listed = [e for e in trace.events if e["distance_km"] is not None]
    return [
        (a["number"], b["number"])
        for a, b in pairwise(listed)
        if a["reflectance_db"] is not None and (b["distance_km"] - a["distance_km"]) * 1000 < zone
    ]
