"""A trace file as a batch of one record."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from archive.errors import Trouble
from archive.formats.otdr.fields import BlockDamaged
from archive.formats.otdr.recognition import LAYOUT
from archive.formats.otdr.record import record_rows
from archive.formats.otdr.trace_file import TraceFile, parse
from archive.formats.recognition import Entry
from archive.tables import Batch
from archive.version import __version__

MOST_BYTES = 1 << 28
"""Larger files are refused: no trace comes near."""
_REMEDY = "copy the file again from the instrument"


def load(entry: Entry) -> TraceFile:
    """The blocks of a file. Errors: Trouble where its map cannot be read, or it is too large."""
    if entry.size > MOST_BYTES:
        raise Trouble("this file is too large for a trace", code="otdr.too-large", where=entry.name,
                      found=f"{entry.size} bytes", expected=f"at most {MOST_BYTES}", remedy=_REMEDY)  # fmt: skip
    try:
        return parse(entry.path.read_bytes())
    except BlockDamaged as damage:
        raise Trouble(damage.message, code="otdr.no-map", where=f"{entry.name}, {damage.place}", found=damage.found,
                      expected=damage.expected or "the map of a trace file", remedy=_REMEDY) from None  # fmt: skip


def read(entry: Entry, *, mapping: Any = None, draft: bool = True) -> Iterator[Batch]:
    """One batch of one record, or of a row of set_aside where neither events nor points can be read.

    mapping and draft have no effect: the layout is known. Errors: Trouble where the map of the file cannot be read.
    """
    trace = load(entry)
    source = entry.source(layout=LAYOUT, reader=f"muniment {__version__} {LAYOUT}")
    if trace.key_events is None and not trace.traces:
        why = "; ".join(f"{d.place}: {d.message}" for d in trace.damages) or "the file has no such blocks"
        row = entry.set_aside(
            "neither the events nor the points of the trace can be read", found=why,
            expected="block KeyEvents or DataPts", remedy=_REMEDY,
        )  # fmt: skip
        yield Batch.from_rows({"sources": [source], "set_aside": [row]})
        return
    yield Batch.from_rows(record_rows(entry, trace, source))
