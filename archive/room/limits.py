"""The limit library: which limits there are, their lines with formula, source and letter, and values."""

from __future__ import annotations

import shlex

import numpy as np
from starlette.responses import Response

from archive import limits, vocabulary
from archive.room.app import PageRequest

_AT = (
    1.0,
    4.0,
    8.0,
    10.0,
    16.0,
    20.0,
    25.0,
    31.25,
    62.5,
    100.0,
    200.0,
    250.0,
    300.0,
    400.0,
    500.0,
    600.0,
    1000.0,
    2000.0,
)
"""Frequencies at which standards print values, MHz."""


def listed(asked: PageRequest) -> Response:
    """All limits, by edition."""
    editions: dict[str, list[str]] = {}
    for name in limits.ids():
        editions.setdefault(name.split("/")[0], []).append(name)
    return asked.page("limits.html", asked.words("Limits"), "muniment limits list", editions=editions)


def page(asked: PageRequest) -> Response:
    """One limit. Errors: Trouble where there is none of that name."""
    limit = limits.get(asked.needed("id"))
    low, high = limit.range_mhz or (0.0, 0.0)
    at = [f for f in _AT if low <= f <= high]
    lines = []
    for name, line in limit.lines.items():
        values = line.at(np.array(at))
        shown = [None if np.isnan(v) else float(v) for v in values]
        lines.append({"name": vocabulary.parameter(name).name, "line": line, "values": shown})
    command = shlex.join(["muniment", "limits", "show", limit.id])
    return asked.page("limit.html", limit.id, command, limit=limit, at=at, lines=lines)
