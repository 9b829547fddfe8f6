"""Limits of the events of a trace, as one limit per class of fiber: optical-events/os2/trace-1310nm."""

from __future__ import annotations

from archive.limits.fiber.declared import EventLimits, limits_file
from archive.vocabulary.limit_words import EVENTS


def event_limit_id(fiber: str, nm: float | None = None, direction: str = "") -> str:
    """The id for a class of fiber (`unknown` where none is named), a wavelength and a direction of traces.

    The numbers are the same for all: each wavelength and direction is a test of its own, beside the others.
    """
    parts = ["trace", f"{nm:g}nm" if nm is not None else "", direction]
    return f"{EVENTS}/{fiber or 'unknown'}/{'-'.join(part for part in parts if part)}"


def event_limits() -> EventLimits:
    """The numbers."""
    return limits_file().events
