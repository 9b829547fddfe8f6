"""Ids of limits as people read them: those of the events of traces name a wavelength and a direction in words."""

from __future__ import annotations

import re

EVENTS = "optical-events"
"""Edition of the limits of events: optical-events/<fiber>/trace-<wavelength>-<direction>."""

_TRACE = re.compile(rf"{EVENTS}/([^/]+)/trace(?:-([\d.]+)nm)?(?:-(local-remote|remote-local))?")


def limit_words(limit_id: str) -> str:
    """An id as it is printed: "events of the trace, os2, 1310 nm, local to remote"; every other id as it is."""
    found = _TRACE.fullmatch(limit_id)
    if found is None:
        return limit_id
    fiber, nm, way = found.groups()
    parts = ["events of the trace", *([fiber] if fiber != "unknown" else []), *([f"{nm} nm"] if nm else [])]
    return ", ".join([*parts, *([way.replace("-", " to ")] if way else [])])
