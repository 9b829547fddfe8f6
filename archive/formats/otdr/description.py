"""What a trace file holds, for `muniment survey`."""

from __future__ import annotations

from collections import Counter
from typing import Any

from archive.formats.description import Description, counted
from archive.formats.otdr.read_trace import load
from archive.formats.otdr.recognition import LAYOUT
from archive.formats.otdr.record import evidence_of, record_rows
from archive.formats.recognition import Entry


def describe(entry: Entry, *, mapping: Any = None) -> Description:
    """Format, blocks, points, events. Errors: Trouble where the map of the file cannot be read."""
    trace = load(entry)
    out = Description(entry.name, layout=LAYOUT)
    blocks = ", ".join(block.name for block in trace.map.blocks)
    out.notes.append(f"trace file of format {trace.map.format}, blocks {blocks}; checksum {trace.checksum}")
    for damage in trace.damages:
        out.notes.append(f"{damage.place}: {damage.message}")
    points = [len(t.levels_db) for t in trace.traces]
    events = len(trace.key_events.events) if trace.key_events else 0
    out.notes.append(f"{' and '.join(map(str, points)) or 'no'} points, {events} events")
    if trace.fixed is not None:
        out.units = [f"{trace.fixed.wavelength_nm:g} nm", f"group index {trace.fixed.group_index:g}"]
    if trace.key_events is None and not trace.traces:
        out.set_aside.append("neither the events nor the points of the trace can be read")
        return out
    out.records, out.evidence = 1, evidence_of(trace)
    rows = record_rows(entry, trace, entry.source())
    out.unmapped = counted(Counter(row["name"] for row in rows["extras"]))
    return out
