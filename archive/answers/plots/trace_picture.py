"""A trace of a fiber as a picture: level over distance, with its events numbered."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from archive.answers.plots.axes import Axes, Style
from archive.answers.plots.model import Box
from archive.answers.plots.pen import INK, LETTERS, SOFT, STYLES, figure, haloed, picture, stroke, text
from archive.answers.plots.scale import Array, even
from archive.tables.arrow import Bools

_LEFT, _TOP, _RIGHT, _TALL = 56, 30, 24, 218


@dataclass(frozen=True)
class DrawnTrace:
    """One curve: label, km rising, level in dB."""

    label: str
    km: Array
    db: Array


@dataclass(frozen=True)
class DrawnEvent:
    """One event on the picture: km, its number, and whether it is worth a heavy line."""

    km: float
    number: str
    heavy: bool = False


_BELOW, _ABOVE = 3.0, 2.0
"""Room under and over the levels of the fiber itself, dB: the noise beyond its end is no part of the link."""


def _range(shown: Sequence[tuple[DrawnTrace, Bools]], end: float) -> tuple[float, float]:
    """Levels that the picture shows: those of the fiber itself; what lies beyond is drawn at the edge."""
    lows, highs = [], []
    for trace, _ in shown:
        db = trace.db[np.isfinite(trace.db) & (trace.km <= end)]
        some = db if len(db) else trace.db[np.isfinite(trace.db)]
        lows.append(float(np.percentile(some, 2)))
        highs.append(float(np.percentile(some, 98)))
    return min(lows) - _BELOW, max(highs) + _ABOVE


def trace_picture(
    traces: Sequence[DrawnTrace],
    events: Sequence[DrawnEvent],
    *,
    title: str,
    labels: tuple[str, str],
    width: int = 680,
    tick: Callable[[float], str] = lambda value: f"{value:g}",
) -> str:
    """The picture as SVG text; the same content gives the same bytes. labels: of the axes across and up;
    width: in dots.

    Drawn is a little beyond the last event. Curves are thinned to the columns of the page, smallest and largest kept.
    """
    far = max((e.km for e in events), default=0.0) * 1.12 or max(float(t.km[-1]) for t in traces)
    shown = [(t, t.km <= far) for t in traces]
    low, high = _range(shown, max((e.km for e in events), default=far))
    wide = width - _LEFT - _RIGHT
    x, y = even(0.0, far, max(3, wide // 75)), even(low, high, 7)
    box = Box(_LEFT, _TOP, wide, _TALL)
    axes = Axes(box, (0.0, far), (y[0], y[-1]))
    axes.grid([(v, tick(v)) for v in x if v <= far], [(v, tick(v)) for v in y], "xy", size=LETTERS)
    axes.edges()
    for event in events:
        at = float(axes.x(event.km))
        style: Style = (INK, "") if event.heavy else (SOFT, "3 3")
        axes.parts.append(
            stroke(f"M{figure(at)} {figure(box.top)}v{figure(box.tall)}", *style, 1.4 if event.heavy else 0.8)
        )
    for (trace, inside), style in zip(shown, STYLES, strict=False):
        axes.line(trace.km[inside], trace.db[inside], style, 1.3, wide)
    last = -20.0
    for event in sorted(events, key=lambda e: e.km):
        at = float(axes.x(event.km))
        axes.parts.append(haloed(max(at, last + 12), box.top - 6, event.number, anchor="middle", size=LETTERS))
        last = max(at, last + 12)
    axes.words(wide / 2, box.tall + 32, labels[0], anchor="middle", size=LETTERS)
    axes.parts.append(text(8, 14, labels[1], size=LETTERS))
    left, under = float(_LEFT), float(axes.bottom) + 52
    for (trace, _), style in zip(shown, STYLES, strict=False):
        room = 60 + 0.62 * LETTERS * len(trace.label)
        if left > _LEFT and left + room > _LEFT + wide:
            left, under = float(_LEFT), under + 17
        axes.parts.append(stroke(f"M{figure(left)} {figure(under)}h26", *style, 1.6))
        axes.parts.append(text(left + 32, under + 3.2, trace.label, size=LETTERS))
        left += room
    return picture(width, int(under) + 14, title, "".join(axes.parts))
