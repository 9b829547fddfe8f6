"""A trace file as the rows of one record: events, trace, readings, and every other field by its own name.

Direction: a file names location A, where the instrument stood, and location B, and no direction. So that traces from
both sides of a fiber have the same ends, the local end is the location that comes first in the alphabet; a trace from
it runs local-remote. Where a location is missing no direction is stated.
"""

from __future__ import annotations

import datetime
from functools import lru_cache
from pathlib import PurePosixPath
from typing import Any

import numpy as np

from archive.formats import cable_types
from archive.formats.otdr import decode
from archive.formats.otdr.cell_account import FieldAccount
from archive.formats.otdr.findings import finding
from archive.formats.otdr.people import operator
from archive.formats.otdr.quirks import Corrected, corrected
from archive.formats.otdr.trace_file import TraceFile
from archive.formats.recognition import Entry
from archive.tables import axis_row, row_id, with_id
from archive.vocabulary import cables

LAYOUT = "optical-trace"
_STEP = 0.001
_EMPTY = ("", "0")
"""What instruments write into a field that nobody filled."""
_KINDS = {"0": "non-reflective", "1": "reflective", "2": "saturated"}


def evidence_of(trace: TraceFile) -> str:
    """The word of `evidence`."""
    return "optical-trace" if trace.traces and trace.fixed is not None else "worst-points"


def record_rows(entry: Entry, trace: TraceFile, source: dict[str, Any]) -> dict[str, list[dict[str, Any]]]:
    """All rows of the batch."""
    record_id = row_id("re", entry.sha256, "trace", f"{LAYOUT} 1")
    account = FieldAccount()
    fixed = corrected(trace)
    label, found = _label(entry, trace)
    place, shared = _ends(trace)
    where = {"direction": place.get("direction"), "wavelength_nm": fixed.nm}
    fiber = _text(trace.general.fiber_id) if trace.general else None
    record = {
        "record_id": record_id,
        "medium": "fiber",
        "link_label": label,
        **{k: v for k, v in place.items() if k != "direction"},
        **_time(trace),
        **_cable(trace),
        "group_index": trace.fixed.group_index if trace.fixed else None,
        "evidence": evidence_of(trace),
        "comment": _text(trace.general.comment) if trace.general else None,
        "source_id": entry.sha256,
        "source_place": "trace",
    }
    shared |= operator(trace.general.operator if trace.general else "", record)
    _instrument(trace, record, shared)
    axes, sweeps = _sweeps(trace, record_id, fiber, where)
    events = _events(trace, fixed, record_id, fiber, where)
    readings = _readings(trace, record_id, fiber, where)
    findings = [*found, *fixed.findings, *_findings(trace)]
    account.all_of(trace)
    return {
        "axes": axes,
        "sources": [{**source, **account.cells()}],
        "records": [record],
        "readings": readings,
        "sweeps": sweeps,
        "trace_events": events,
        "extras": [{"record_id": record_id, "name": n, "place": p, "value": v} for n, p, v in account.extras],
        "findings": [{**row, "record_id": record_id, "link_label": label} for row in findings],
        **shared,
    }


def _text(found: str) -> str | None:
    """A text that somebody filled in; None for an empty field."""
    text = found.strip()
    return None if text in _EMPTY else text


def _label(entry: Entry, trace: TraceFile) -> tuple[str | None, list[dict[str, Any]]]:
    """Label of the link: cable and fiber, as far as they are named; else the name of the file, which is said."""
    general = trace.general
    cable, fiber = (_text(general.cable_id), _text(general.fiber_id)) if general else (None, None)
    if fiber is not None and (cable is None or not fiber.isdigit()):
        return fiber, []
    if cable is not None:
        return (f"{cable}/{fiber}" if fiber else cable), []
    stem = PurePosixPath(entry.name).stem
    return stem, [finding("trace-label-from-file-name", where="block GenParams", found=stem)]


def _ends(trace: TraceFile) -> tuple[dict[str, Any], dict[str, list[dict[str, Any]]]]:
    """Places of both ends and the direction; shared rows."""
    if trace.general is None:
        return {}, {}
    a, b = _text(trace.general.location_a), _text(trace.general.location_b)
    names: list[str | None] = [a, b]
    out: dict[str, Any] = {}
    if a is not None and b is not None and a != b:
        names = [*sorted((a, b))]
        out["direction"] = "local-remote" if a == names[0] else "remote-local"
    places = [with_id("places", {"space": name}) if name else None for name in names]
    for end, row in zip(("local", "remote"), places, strict=True):
        if row is not None:
            out[f"{end}_place_id"] = row["place_id"]
    rows = {row["place_id"]: row for row in places if row is not None}
    return out, {"places": list(rows.values())}


def _time(trace: TraceFile) -> dict[str, Any]:
    """When the trace was taken. The layout states no zone, and many instruments store their local time."""
    if trace.fixed is None or not trace.fixed.time_unix_s:
        return {}
    clock = datetime.datetime.fromtimestamp(trace.fixed.time_unix_s, datetime.UTC).replace(tzinfo=None)
    return {"tested_found": f"{trace.fixed.time_unix_s} s since 1970", "tested_local": clock.isoformat()}


def _cable(trace: TraceFile) -> dict[str, Any]:
    """Words about the fiber, and its type: its number of the ITU-T names its core, and mostly no class."""
    if trace.general is None or not trace.general.fiber_type:
        return {}
    found = f"G.{trace.general.fiber_type}"
    kind = cable_types.neutral(found)
    if "class" not in cables.known(kind):
        kind = cables.joined({"gauge": "50" if trace.general.fiber_type == 651 else "9"})
    return {"cable_found": found, "cable_type": kind}


def _instrument(trace: TraceFile, record: dict[str, Any], shared: dict[str, list[dict[str, Any]]]) -> None:
    s = trace.supplier
    if s is None:
        return
    given = {
        "maker": _text(s.maker),
        "model": _text(s.mainframe),
        "serial": _text(s.mainframe_serial),
        "software": _text(s.software),
        "adapter": " ".join(x for x in (_text(s.module), _text(s.module_serial)) if x) or None,
    }
    if unit := {k: v for k, v in given.items() if v}:
        row = with_id("instruments", unit)
        shared["instruments"] = [row]
        record["local_instrument_id"] = row["instrument_id"]


def _sweeps(
    trace: TraceFile, record_id: str, fiber: str | None, where: dict[str, Any]
) -> tuple[list[dict[str, Any]], list[dict[str, Any]]]:
    """The trace of each pulse width: level in dB over km. A level is what the file has, counted upwards."""
    if trace.fixed is None:
        return [], []
    axes: dict[str, dict[str, Any]] = {}
    sweeps = []
    for at, points in enumerate(trace.traces):
        spacing = trace.fixed.spacing_100ps[min(at, len(trace.fixed.spacing_100ps) - 1)]
        if not spacing or not len(points.levels_db):
            continue
        first = trace.fixed.km(trace.fixed.acquisition_offset_100ps)
        axis = _axis(first, trace.fixed.km(spacing), len(points.levels_db))
        axes[axis["axis_id"]] = axis
        sweeps.append(
            {
                "record_id": record_id,
                "parameter": "backscatter",
                "pairing": fiber,
                **where,
                "origin": "measured",
                "axis_id": axis["axis_id"],
                "values": np.round(0.0 - points.levels_db, 3) + 0.0,
                "step": _STEP,
            }
        )
    return list(axes.values()), sweeps


@lru_cache(maxsize=8)
def _axis(first_km: float, step_km: float, count: int) -> dict[str, Any]:
    """The row of axes of points that stand apart by a step: traces of one folder mostly share it."""
    km = np.round(first_km + np.arange(count) * step_km, 9)
    return {**axis_row(km, "distances_km"), "distances_km": km}


def _events(
    trace: TraceFile, fixed: Corrected, record_id: str, fiber: str | None, where: dict[str, Any]
) -> list[dict[str, Any]]:
    if trace.key_events is None:
        return []
    rows = []
    for event in trace.key_events.events:
        rows.append(
            {
                "record_id": record_id,
                "fiber": fiber,
                "number": event.number,
                "kind": _kind(event),
                **where,
                "distance_km": round(trace.fixed.km(event.time_100ps), 9) if trace.fixed else None,
                "loss_db": event.loss_db,
                "reflectance_db": fixed.reflectance(event),
                "slope_db_km": event.slope_db_km,
                "technique": {"LS": "least squares", "2P": "two points"}.get(event.technique, event.technique) or None,
                "comment": _text(event.comment),
                "code": event.code or None,
            }
        )
    return rows


def _kind(event: decode.OtdrEvent) -> str:
    """The sort of an event by its signs: E ends the fiber; what stands at no distance is where it begins."""
    if event.code[1:2] in ("E", "D"):
        return "end"
    if event.time_100ps == 0:
        return "launch"
    return _KINDS.get(event.code[:1], "unknown")


def _readings(trace: TraceFile, record_id: str, fiber: str | None, where: dict[str, Any]) -> list[dict[str, Any]]:
    """Length to the end of the fiber, loss and return loss of the whole; 0 says that the file does not give them."""
    if trace.key_events is None:
        return []
    given: list[tuple[str, float | None, float | None]] = [
        ("trace_loss", trace.key_events.end_to_end_loss_db or None, _STEP),
        ("optical_return_loss", trace.key_events.return_loss_db, _STEP),
    ]
    ends = [e for e in trace.key_events.events if _kind(e) == "end"]
    if ends and trace.fixed is not None:
        given.append(("length", round(trace.fixed.km(ends[-1].time_100ps) * 1000, 6), None))
    return [
        {"record_id": record_id, "quantity": q, "subject": fiber, **where, "origin": "measured", "value": v, "step": s}
        for q, v, s in given
        if v is not None
    ]


def _findings(trace: TraceFile) -> list[dict[str, Any]]:
    found = []
    if trace.map.format == 1:
        found.append(finding("trace-of-first-format", where="the map"))
    if trace.key_events is None and not any("KeyEvents" in d.place for d in trace.damages):
        found.append(finding("trace-without-events", where="block KeyEvents"))
    for damage in trace.damages:
        what = damage.message + (f" ({damage.found})" if damage.found else "")
        found.append(finding("trace-block-damaged", where=damage.place, found=what))
    if trace.own_blocks or trace.repeated:
        named = ", ".join([*trace.own_blocks, *(f"{name} again" for name in trace.repeated)])
        found.append(finding("trace-blocks-not-read", where="the map", found=named))
    return found
