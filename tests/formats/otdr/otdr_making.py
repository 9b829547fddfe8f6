"""Synthesised trace files, and the real ones of ../shared, which are never shipped."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

from archive.demo.backbone.trace_bytes import TraceContent, WrittenEvent, trace_file
from archive.demo.backbone.trace_shape import levels

REAL = Path(__file__).parents[3].parent / "shared" / "data" / "otdr-traces"

EVENTS = (
    WrittenEvent(0.0, 0.0, -45.0, "1F9999"),
    WrittenEvent(0.4, 0.35, -48.0, "1F9999", 0.35),
    WrittenEvent(1.0, -0.08, 0.0, "0F9999", 0.35),
    WrittenEvent(1.8, 0.2, 0.0, "0F9999", 0.36),
    WrittenEvent(2.2, 0.0, -14.0, "1E9999", 0.35),
)


def content(**changes: object) -> TraceContent:
    """A fiber of 2.2 km with a connection, a gainer, a splice and an end."""
    made = TraceContent(
        levels_db=levels(EVENTS, 0.35, point_m=0.5, pulse_ns=30, index=1.468, seed=1),
        events=EVENTS,
        end_to_end_db=1.24,
        return_loss_db=31.0,
    )
    return replace(made, **changes)  # type: ignore[arg-type]


def written(path: Path, made: TraceContent) -> Path:
    """The file at a path."""
    path.write_bytes(trace_file(made))
    return path
