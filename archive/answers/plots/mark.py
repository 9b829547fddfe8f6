"""The ring around the worst point, and the words that belong to it, on the side of the limit where no curve is."""

from __future__ import annotations

import numpy as np

from archive.answers.plots.axes import Axes
from archive.answers.plots.model import Mark, Panel, PlotCurve
from archive.answers.plots.pen import INK, LETTERS, figure, haloed, stroke
from archive.answers.plots.scale import Array

_LINE, _LETTER = 12.5, 0.6 * LETTERS


def ring(axes: Axes, panel: Panel, mark: Mark) -> None:
    """Ring, leader and words of a mark."""
    x, y = float(axes.x(mark.x)), float(axes.y(mark.y))
    lines = mark.text.split("\n")
    wide, tall = _LETTER * max(map(len, lines)), _LINE * len(lines)
    left = x > axes.box.left + axes.box.wide * 0.55
    near = x - 9 if left else x + 9
    top = _free(axes, panel, (near - wide, near) if left else (near, near + wide), y, tall)
    out = axes.parts
    edge = top + tall / 2
    if mark.text and abs(edge - y) > tall:
        out.append(stroke(f"M{figure(x)} {figure(y)}L{figure(near)} {figure(edge)}", INK, "", 0.6))
    out.append(f'<circle cx="{figure(x)}" cy="{figure(y)}" r="4.2" fill="none" stroke="{INK}" stroke-width="1.3"/>')
    out.append(f'<circle cx="{figure(x)}" cy="{figure(y)}" r="1.1" fill="{INK}"/>')
    anchor = "end" if left else "start"
    out.extend(haloed(near, top + LETTERS + _LINE * n, line, anchor, LETTERS) for n, line in enumerate(lines))


def _free(axes: Axes, panel: Panel, span: tuple[float, float], y: float, tall: float) -> float:
    """Top of the words: beyond the limit and the point, as near as the frame allows."""
    highest, lowest = axes.box.top + 3, axes.bottom - tall - 3
    if panel.limit is None:
        return max(highest, min(y - tall, lowest))
    over = np.concatenate([_within(axes, c, span) for c in (panel.limit, *panel.curves)])
    if panel.sense == "max":
        return max(highest, min(float(over.min(initial=y)), y - 5) - tall - 5)
    return min(lowest, max(float(over.max(initial=y)), y + 5) + 5)


def _within(axes: Axes, curve: PlotCurve, span: tuple[float, float]) -> Array:
    """Heights of a curve over a stretch, in dots."""
    x, y = axes.x(curve.x), axes.y(curve.y)
    return y[(x >= span[0] - 2) & (x <= span[1] + 2) & np.isfinite(curve.y)]
