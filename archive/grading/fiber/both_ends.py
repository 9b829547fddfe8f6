"""Traces of one fiber from both ends, in one batch: the mean of both is the loss of an event, and is what is graded.

Two traces go together where job, link, fiber and wavelength are the same, their directions are opposite, and length and
group index agree. Of several in one direction the newest counts. Traces that came in other batches stay alone, and
their verdicts say so: what a verdict rests on is what was looked at together.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from archive.grading.fiber.link_grade import tolerance
from archive.grading.fiber.traces import Event, FiberPlace, FiberTrace, places
from archive.tables import Batch

BOTH_ENDS = "events as means of both ends, with the trace "
"""How a verdict begins to name the trace from the other end."""
_WAYS = ("local-remote", "remote-local")


@dataclass(frozen=True)
class OtherEnd:
    """The trace from the other end. record_id: of it. seen: the places that both traces saw, by number of the event in
    the trace that is graded."""

    record_id: str
    seen: Mapping[int, FiberPlace]


def other_ends(batch: Batch, events: Mapping[str, list[Mapping[str, Any]]]) -> dict[str, OtherEnd]:
    """By record, the trace from the other end; nothing where there is none that belongs to it. events: by record."""
    found: dict[tuple[Any, ...], dict[str, tuple[str, FiberTrace]]] = {}
    names = ["record_id", "job_id", "link_label", "local_place_id", "remote_place_id", "group_index", "tested_local"]
    rows = [row for row in batch["records"].select(names).to_pylist() if row["record_id"] in events]
    for row in sorted(rows, key=lambda r: r["tested_local"] or ""):
        first: Event = events[row["record_id"]][0]
        way, nm = first["direction"] or "", first["wavelength_nm"]
        if way not in _WAYS or nm is None or row["link_label"] is None:
            continue
        key = (row["job_id"], row["link_label"], row["local_place_id"], row["remote_place_id"], first["fiber"], nm)
        trace = FiberTrace(nm, way, events[row["record_id"]], index=row["group_index"])
        found.setdefault(key, {})[way] = row["record_id"], trace
    made = {}
    for both in found.values():
        if len(both) == 2:
            (a, there), (b, back) = (both[way] for way in _WAYS)
            if _fit(there, back):
                seen = places([there, back])
                made[a] = OtherEnd(b, _numbered(seen, there))
                made[b] = OtherEnd(a, _numbered(seen, back))
    return made


def _fit(there: FiberTrace, back: FiberTrace) -> bool:
    """Whether both can be of one fiber: as long, and with the same group index."""
    if there.end_km is None or back.end_km is None or there.index is None or back.index is None:
        return False
    room = max(tolerance("ends_m"), tolerance("ends_share") * there.end_km * 1000)
    same = abs(there.end_km - back.end_km) * 1000 <= room
    return same and abs(there.index - back.index) <= tolerance("ends_index")


def _numbered(seen: list[FiberPlace], trace: FiberTrace) -> dict[int, FiberPlace]:
    key = (trace.nm, trace.direction)
    return {place.numbers[key]: place for place in seen if key in place.numbers and place.mean(trace.nm) is not None}
