"""A field of a picture with a scale each way: lines, bands, bars, markers and the figures at its edges."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

import numpy as np

from archive.answers.plots.model import Box
from archive.answers.plots.pen import GRID, HATCH_FILL, INK, SHADE, SOFT, figure, points, stroke, text
from archive.answers.plots.scale import LINEAR, Array, turned
from archive.answers.plots.thin import thin

CIRCLE = "M-3.3 0a3.3 3.3 0 1 0 6.6 0a3.3 3.3 0 1 0-6.6 0z"
SQUARE = "M-3-3h6v6h-6z"
MARKERS = (CIRCLE, SQUARE, "M0-4.3L4.3 0 0 4.3-4.3 0z", "M0-4L4 3h-8z", "M0 4L4-3h-8z", "M-4 0l2-3.5h4l2 3.5-2 3.5h-4z")
"""Shapes around the origin: circle, square, diamond, triangle, triangle on its point, hexagon."""

Values = Sequence[float] | Array
Ticks = Iterable[tuple[float, str]]
Style = tuple[str, str]
"""Colour and dashes of a stroke, as in pen.STYLES."""


class Axes:
    """What is drawn in one box; `parts` collects it as SVG text.

    x: values at the left and the right edge; y: at the lower and the upper one; scale: of the axis across.
    """

    def __init__(self, box: Box, x: tuple[float, float], y: tuple[float, float], scale: str = LINEAR) -> None:
        self.box, self._y, self._scale = box, y, scale
        self._x0, self._x1 = turned(scale, np.array(x)).tolist()
        self.parts: list[str] = []

    @property
    def bottom(self) -> float:
        """Lower edge, in dots."""
        return self.box.top + self.box.tall

    def x(self, values: Array | float) -> Array:
        """Positions across, in dots."""
        at = (turned(self._scale, np.asarray(values, dtype=float)) - self._x0) / (self._x1 - self._x0)
        return np.asarray(self.box.left + at * self.box.wide)

    def y(self, values: Array | float) -> Array:
        """Positions down, in dots; what lies outside is put on the edge."""
        low, high = self._y
        inside = np.clip(np.asarray(values, dtype=float), min(self._y), max(self._y))
        return np.asarray(self.bottom - (inside - low) / (high - low) * self.box.tall)

    def grid(self, x: Ticks = (), y: Ticks = (), lines: str = "xy", *, size: float = 9.5, colour: str = INK) -> None:
        """Figures at the lower and the left edge, and lines from those of the named axes."""
        box = self.box
        across = [(float(self.x(value)), label) for value, label in x]
        down = [(float(self.y(value)), label) for value, label in y]
        path = "".join(f"M{figure(at)} {figure(box.top)}v{figure(box.tall)}" for at, _ in across if "x" in lines)
        path += "".join(f"M{figure(box.left)} {figure(at)}h{figure(box.wide)}" for at, _ in down if "y" in lines)
        self.parts.append(stroke(path, GRID, "", 0.6))
        far = self.bottom + 1.4 * size
        self.parts += [text(at, far, t, anchor="middle", colour=colour, size=size) for at, t in across if t]
        near = box.left - 0.6 * size
        self.parts += [text(near, at + 0.36 * size, t, anchor="end", colour=colour, size=size) for at, t in down if t]

    def edges(self, *, closed: bool = False) -> None:
        """The left and the lower edge; closed: all four."""
        box = self.box
        path = f"M{figure(box.left)} {figure(box.top)}v{figure(box.tall)}h{figure(box.wide)}"
        self.parts.append(stroke(path + (f"v-{figure(box.tall)}z" if closed else ""), SOFT, "", 0.8))

    def line(self, x: Values, y: Values, style: Style, width: float, columns: int = 0) -> None:
        """A line through points; NaN leaves a gap. columns: of dots that it is thinned to, 0 for none."""
        at = self.x(np.asarray(x, dtype=float)), self.y(np.asarray(y, dtype=float))
        self.parts.append(stroke(points(*(thin(*at, columns) if columns else at)), *style, width))

    def band(self, x: Array, low: Array, high: Array, colour: str) -> None:
        """The field between two curves, pale."""
        path = points(self.x(np.r_[x, x[::-1]]), self.y(np.r_[low, high[::-1]]))
        self.parts.append(f'<path d="{path}Z" fill="{colour}" fill-opacity="0.13"/>')

    def hatched(self, low: float, high: float) -> None:
        """The whole width between two values, hatched: here a point fails."""
        top, bottom = float(self.y(high)), float(self.y(low))
        place = f'x="{figure(self.box.left)}" y="{figure(top)}" width="{figure(self.box.wide)}"'
        self.parts.append(f'<rect {place} height="{figure(bottom - top)}" fill="{HATCH_FILL}"/>')

    def bar(self, x: float, y: float, half: float, colour: str) -> None:
        """A bar from the left edge to x; half: half its thickness, in dots."""
        place = f'x="{figure(self.box.left)}" y="{figure(float(self.y(y)) - half)}"'
        wide = figure(float(self.x(x)) - self.box.left)
        shape = f'{place} width="{wide}" height="{figure(2 * half)}"'
        self.parts.append(f'<rect {shape} fill="{SHADE}" stroke="{colour}" stroke-width=".9"/>')

    def markers(self, x: Values, y: Values, shape: str, colour: str, fill: str) -> None:
        """One marker at each point; none where a value is missing (NaN)."""
        across, down = self.x(np.asarray(x, dtype=float)).tolist(), self.y(np.asarray(y, dtype=float)).tolist()
        self.parts.extend(
            marker(a, b, shape, colour, fill) for a, b in zip(across, down, strict=True) if a == a and b == b
        )

    def words(
        self, x: float, y: float, message: str, *, colour: str = SOFT, anchor: str = "start", size: float = 9
    ) -> None:
        """Letters at a place in dots from the upper left corner of the box."""
        self.parts.append(text(self.box.left + x, self.box.top + y, message, anchor=anchor, colour=colour, size=size))


def marker(x: float, y: float, shape: str, colour: str, fill: str) -> str:
    """A marker at a place in dots."""
    at = f'transform="translate({figure(x)} {figure(y)})"'
    return f'<path d="{shape}" {at} fill="{fill}" stroke="{colour}" stroke-width="1.3"/>'
