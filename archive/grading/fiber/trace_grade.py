"""The events of optical traces against what a connection and a splice may lose and reflect.

From one side alone the loss of an event is apparent: where the mode fields of two fibers differ it looks larger or
smaller than it is (a gainer), and the mean of both sides is the loss. Where the trace from the other end is there, the
mean is graded. One side alone passes provisionally, and fails only beyond the error that one side can make.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from archive.grading.fiber.both_ends import BOTH_ENDS, OtherEnd
from archive.grading.fiber.graded_rows import (
    FAIL,
    NOT_GRADED,
    OLD_FORM,
    ONE_SIDE,
    PASS,
    PointGrade,
    RecordGrade,
    judged,
    remembered,
)
from archive.grading.fiber.loss_tests import LossTest
from archive.grading.fiber.traces import FiberPlace
from archive.limits.fiber import event_limit_id, event_limits, kind_of
from archive.vocabulary import cables

Event = Mapping[str, Any]


@dataclass(frozen=True)
class EventsOfRecord:
    """The trace of one record. events: its rows of trace_events. curve: where there are none, wavelength and direction
    of its curve. old_form: the file is of format 1. other: the trace from the other end, where it is known."""

    events: Sequence[Event]
    curve: Event | None
    old_form: bool
    other: OtherEnd | None = None


def grade_events(test: LossTest, trace: EventsOfRecord) -> RecordGrade:
    """Every event between launch and end of the trace of one record."""
    events, other = trace.events, trace.other
    first: Event = events[0] if events else trace.curve or {}
    limit_id = event_limit_id(test.fiber_class, first.get("wavelength_nm"), first.get("direction") or "")
    out = RecordGrade(test, limit_id, own_verdict=False)
    if not events:
        out.missing.append("no event table; none is made up")
        return out
    core = cables.known(test.row["cable_type"]).get("gauge", "")
    kind = kind_of(test.fiber_class) or {"9": "single-mode", "50": "multimode", "62.5": "multimode"}.get(core, "")
    for event in events:
        if event["kind"] in ("launch", "end") or event["loss_db"] is None:
            continue
        place = other.seen.get(event["number"]) if other is not None else None
        out.points.append(_loss(event) if place is None else _mean(event, place))
        reflectance = _reflectance(event, kind)
        out.points += [reflectance] if reflectance else []
    if not out.points:
        out.missing.append("no event between launch and end")
    out.doubts += [OLD_FORM] if trace.old_form else []
    out.notes += [f"{BOTH_ENDS}{other.record_id}"] if other is not None else []
    if any(e["kind"] == "reflective" for e in events) and not kind:
        out.notes.append("reflectance not graded: the kind of fibre is not known")
    return out


def _place(event: Event) -> dict[str, Any]:
    """Columns that say which event of which trace is meant: of one fiber there are many."""
    pairing = ", ".join(x for x in (event["fiber"], _called(event)) if x)
    return {"pairing": pairing, "direction": event["direction"], "wavelength_nm": event["wavelength_nm"]}


def _called(event: Event) -> str:
    where = f" at {event['distance_km']:.3f} km" if event["distance_km"] is not None else ""
    return f"event {event['number']}{where}"


def _loss(event: Event) -> PointGrade:
    """A reflective event is taken for a connection, one without reflection for a splice."""
    limits = event_limits()
    reflective = event["kind"] in ("reflective", "saturated")
    allowed = limits.connection if reflective else limits.splice
    p = PointGrade("event_loss", _place(event), event["loss_db"], allowed.db, PASS, confidence=allowed.confidence)
    p.step, p.reason = 0.001, f"{_called(event)}, taken for a {'connection' if reflective else 'splice'}"
    beyond = event["loss_db"] - allowed.db
    if beyond > limits.one_way_error.db:
        p.verdict, p.doubts = FAIL, [*remembered(limits.one_way_error.confidence), ONE_SIDE]
    elif judged(-beyond) == FAIL:
        p.verdict = NOT_GRADED
        p.reason += f": beyond {allowed.db:g} dB by less than one side alone can be wrong by"
    else:
        p.doubts = [ONE_SIDE]
    return p


def _mean(event: Event, place: FiberPlace) -> PointGrade:
    """An event that both ends saw: their mean against the limit; one that reflects in either is a connection."""
    limits, nm = event_limits(), event["wavelength_nm"]
    mean = place.mean(nm)
    assert mean is not None
    allowed = limits.connection if place.reflective else limits.splice
    p = PointGrade("event_loss", _place(event), mean, allowed.db, judged(allowed.db - mean), step=0.001)
    p.confidence = allowed.confidence
    there, back = (place.losses[nm, way] for way in ("local-remote", "remote-local"))
    what = "connection" if place.reflective else "splice"
    p.reason = f"{_called(event)}, taken for a {what}: mean of {there:.3f} dB there and {back:.3f} dB back"
    return p


def _reflectance(event: Event, kind: str) -> PointGrade | None:
    allowed = event_limits().reflectance.get(kind)
    if allowed is None or event["kind"] != "reflective" or event["reflectance_db"] is None:
        return None
    p = PointGrade("event_reflectance", _place(event), event["reflectance_db"], allowed.db, PASS)
    p.step, p.confidence = 0.001, allowed.confidence
    p.verdict, p.doubts = judged(p.margin or 0.0), remembered(allowed.confidence)
    return p
