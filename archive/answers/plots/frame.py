"""Where everything of a picture goes: the boxes of its panels, and positions in them."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from archive.answers.plots.axes import Axes
from archive.answers.plots.model import Box, Panel, PlotLayout
from archive.answers.plots.pen import LETTERS, SOFT
from archive.answers.plots.scale import even, ticks, turned, usable

LEGEND_ROW = 16
_LEFT, _RIGHT, _TOP = 50, 14, 22
_BETWEEN = 28
_AXIS_TEXTS = 38
_LETTER = 0.62 * LETTERS
_APART = 0.11
"""Least distance of two figures across a narrow picture, as part of its width."""


def _flow(entries: Sequence[str], left: float, right: float) -> list[tuple[float, int]]:
    """Place across and row of each cell of the legend."""
    found: list[tuple[float, int]] = []
    x, row = left, 0
    for label in entries:
        wide = 44 + _LETTER * len(label)
        if x > left and x + wide > right + 12:
            x, row = left, row + 1
        found.append((x, row))
        x += wide
    return found


class PlotFrame:
    """Scales and places of one picture; all panels share both axes.

    entries: labels of the legend. Errors: ValueError where no panel holds a point.
    """

    def __init__(self, panels: Sequence[Panel], layout: PlotLayout, entries: Sequence[str]) -> None:
        self.layout = layout
        self._measure(panels, layout.scale, layout.y_range)
        # Long figures at the axis upwards need room of their own.
        self.left = _LEFT + 6 * max(0, max(len(f"{t:g}") for t in self.y_ticks) - 4)
        self.legend = _flow(entries, self.left, layout.width - _RIGHT)
        rows = 1 + max((row for _, row in self.legend), default=-1)
        self.height = layout.height + (LEGEND_ROW * (rows - 1) if layout.narrow else 0)
        self.legend_top = self.height - LEGEND_ROW * rows + 5
        self.axis_text = self.legend_top - 12
        self.boxes = self._boxes(len(panels), self.legend_top - 5 - _AXIS_TEXTS)

    def axes(self, box: Box) -> Axes:
        """Axes of one panel."""
        return Axes(box, (self.x0, self.x1), (self.y0, self.y1), self.scale)

    def grid(self, axes: Axes) -> None:
        """Draws the grid of one panel, with figures where no other panel has them already."""
        first, lowest = axes.box.left == self.boxes[0].left, axes.box.top == self.boxes[-1].top
        across = [(t, self.layout.tick_text(t) if lowest else "") for t in self.x_ticks]
        down = [(t, self.layout.tick_text(t) if first else "") for t in self.y_ticks]
        axes.grid(across, down, size=LETTERS, colour=SOFT)

    def _apart(self, values: Sequence[float]) -> list[float]:
        """Of the values on the axis across those that leave room between their figures, the last among them."""
        at = turned(self.scale, np.asarray([self.x0, self.x1, *values]))
        places = (at[2:] - at[0]) / (at[1] - at[0])
        kept: list[int] = []
        for n in reversed(range(len(values))):
            if not kept or places[kept[-1]] - places[n] >= _APART:
                kept.append(n)
        return [values[n] for n in reversed(kept)]

    def _boxes(self, count: int, bottom: float) -> list[Box]:
        across = self.layout.width - self.left - _RIGHT
        if not self.layout.stacked:
            wide = (across - _BETWEEN * (count - 1)) / count
            return [Box(self.left + k * (wide + _BETWEEN), _TOP, wide, bottom - _TOP) for k in range(count)]
        tall = (bottom - _TOP - _BETWEEN * (count - 1)) / count
        return [Box(self.left, _TOP + k * (tall + _BETWEEN), across, tall) for k in range(count)]

    def _measure(self, panels: Sequence[Panel], scale: str, y_range: tuple[float, float] | None) -> None:
        drawn = [c for p in panels for c in (*p.curves, *p.context, *([p.limit] if p.limit else []))]
        x = np.concatenate([c.x[np.isfinite(c.y)] for c in drawn] or [np.empty(0)])
        y = np.concatenate([c.y[np.isfinite(c.y)] for c in drawn] or [np.empty(0)])
        if not len(x):
            raise ValueError("there is no point to draw")
        self.x0, self.x1 = float(x.min()), float(x.max())
        if self.x0 == self.x1:
            self.x0, self.x1 = self.x0 * 0.9 - (self.x0 == 0), self.x1 * 1.1 + (self.x1 == 0)
        self.scale = usable(scale, self.x0)
        self.x_ticks = ticks(self.scale, self.x0, self.x1)
        if self.layout.narrow:
            self.x_ticks = self._apart(self.x_ticks)
        if y_range is not None:
            self.y0, self.y1 = y_range
            self.y_ticks = [t for t in even(*y_range, 5) if self.y0 <= t <= self.y1]
            return
        low, high = float(y.min()), float(y.max())
        limits = [p.limit.y[np.isfinite(p.limit.y)] for p in panels if p.limit is not None]
        limits = [v for v in limits if len(v)]
        if limits and all(p.sense == "min" for p in panels):
            # Far above a minimum limit lie only sharp peaks; a scale that showed them whole would press the part
            # that decides flat. They are cut off at the frame. Below the limit there is room for a word.
            high = min(high, max(float(np.percentile(y, 98)), *(float(v.max()) for v in limits)))
            low = min(low, *(float(v.min()) for v in limits))
            low -= 0.25 * (high - low)
        elif limits:
            high = max(high, *(float(v.max()) for v in limits))
            high += 0.08 * (high - low)
        steps = even(low, high, 5)
        room = 0.04 * (high - low)
        # A panel begins and ends at a round number where one is near, else where its curves do.
        self.y0 = steps[0] if low - steps[0] < 2 * room or not limits else low
        self.y1 = steps[-1] if steps[-1] - high < 2 * room or not limits else high + room
        self.y_ticks = [t for t in steps if self.y0 <= t <= self.y1]
