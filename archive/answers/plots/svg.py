"""One picture: panels side by side, all curves of a parameter against its limit."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from html import escape

import numpy as np
from numpy.typing import NDArray

from archive.answers.plots.thin import thin

Array = NDArray[np.float64]

# Okabe and Ito's colours (Color Universal Design, 2008), in an order that also differs in lightness, each with a
# dash of its own, so that the curves can be told apart without colour.
STYLES: tuple[tuple[str, str], ...] = (
    ("#0072b2", ""),
    ("#d55e00", "7 2.5"),
    ("#009e73", "2.2 2"),
    ("#7a4b94", "9 2 2 2"),
    ("#8a6d00", "5 2 1.5 2 1.5 2"),
    ("#1f6f9f", "1 1.6"),
    ("#a03a00", "12 3"),
    ("#00614a", "4 1.4"),
    ("#c0669a", "9 2 1 2 1 2"),
    ("#555555", "3 3"),
    ("#4aa3d8", "6 1.5 1.5 1.5"),
    ("#e08a3c", "1.5 3"),
)
_FONT = "DejaVu Sans, Verdana, sans-serif"
_INK, _SOFT, _GRID, _MARGIN, _FAIL = "#1a1a1a", "#5c5c5c", "#dcdcdc", "#e9eef2", "#c9c2ba"


@dataclass(frozen=True)
class Curve:
    """One curve. x: MHz (or km), rising, shape (n,); y: shape (n,), NaN where missing."""

    label: str
    x: Array
    y: Array


@dataclass(frozen=True)
class Mark:
    """A point worth showing: where it is and what to say of it."""

    x: float
    y: float
    text: str


@dataclass(frozen=True)
class Panel:
    """One panel. sense: "max" where the limit must not be exceeded, "min" where it must be reached."""

    heading: str
    curves: tuple[Curve, ...]
    limit: Curve | None = None
    sense: str = "min"
    mark: Mark | None = None


def plot(
    panels: Sequence[Panel],
    *,
    title: str,
    x_label: str,
    y_label: str,
    width: int = 680,
    height: int = 260,
    log_x: bool = True,
    legend: bool = True,
) -> str:
    """The picture as a self-contained SVG text with a title for screen readers.

    Panels share both axes. The side of the limit on which a point fails is hatched; the distance between the limit
    and the worst curve is shaded; the worst point is ringed. Curves are thinned to the page, extremes kept.
    Errors: ValueError where no panel holds a point.
    """
    frame = _Frame(panels, width, height, log_x, legend)
    body = [_defs()]
    for k, panel in enumerate(panels):
        body.extend(_panel(frame, k, panel))
    body.append(_text(frame.left + frame.inner / 2, height - frame.foot + 25, x_label, anchor="middle", colour=_SOFT))
    y_mid = frame.top + frame.tall / 2
    body.append(
        f'<text x="11" y="{_n(y_mid)}" transform="rotate(-90 11 {_n(y_mid)})" text-anchor="middle" '
        f'font-size="9" fill="{_SOFT}">{escape(y_label)}</text>'
    )
    if legend:
        body.extend(_legend(frame, panels))
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width} {height}" width="{width}" height="{height}" '
        f'role="img" font-family="{_FONT}"><title>{escape(title)}</title>' + "".join(body) + "</svg>"
    )


class _Frame:
    """Scales and places of one picture."""

    def __init__(self, panels: Sequence[Panel], width: int, height: int, log_x: bool, legend: bool) -> None:
        self.width, self.height, self.log = width, height, log_x
        labels = [c.label for p in panels for c in p.curves]
        self.rows = 0 if not legend else math.ceil((len(dict.fromkeys(labels)) + 1) / max(1, (width - 60) // 92))
        self.left, self.right, self.top = 42, 8, 22
        self.foot = 34 + 13 * self.rows
        self.tall = height - self.top - self.foot
        self.inner = width - self.left - self.right
        self.gap = 24
        self.wide = (self.inner - self.gap * (len(panels) - 1)) / len(panels)
        xs, ys = [], []
        for p in panels:
            for c in (*p.curves, *([p.limit] if p.limit else [])):
                good = ~np.isnan(c.y)
                xs.append(c.x[good])
                ys.append(c.y[good])
        x, y = np.concatenate(xs or [np.empty(0)]), np.concatenate(ys or [np.empty(0)])
        if not len(x):
            raise ValueError("there is no point to draw")
        self.x0, self.x1 = float(x.min()), float(x.max())
        if self.x0 == self.x1:
            self.x0, self.x1 = self.x0 * 0.9 - (0 if log_x else 1), self.x1 * 1.1 + (0 if log_x else 1)
        self.log = log_x and self.x0 > 0
        # Far above a minimum limit lie only sharp peaks of crosstalk and return loss; a scale that showed them whole
        # would press the part that decides flat. Such peaks are cut off at the frame.
        safe = all(p.sense == "min" for p in panels) and any(p.limit is not None for p in panels)
        limits = [np.nanmax(p.limit.y) for p in panels if p.limit is not None]
        high = min(float(y.max()), max(float(np.percentile(y, 98)), *limits)) if safe else float(y.max())
        self.y_ticks = _ticks(float(y.min()), high, 5)
        self.y0, self.y1 = self.y_ticks[0], self.y_ticks[-1]
        self.x_ticks = _log_ticks(self.x0, self.x1) if self.log else _inside(_ticks(self.x0, self.x1, 5), self)

    def x(self, values: Array, k: int) -> Array:
        """Position across, in dots, of values in panel k."""
        lo, hi = (math.log(self.x0), math.log(self.x1)) if self.log else (self.x0, self.x1)
        v = np.log(values) if self.log else values
        return np.asarray(self.left + k * (self.wide + self.gap) + (v - lo) / (hi - lo) * self.wide)

    def y(self, values: Array) -> Array:
        """Position down, in dots."""
        return np.asarray(self.top + (self.y1 - np.minimum(values, self.y1)) / (self.y1 - self.y0) * self.tall)


def _panel(frame: _Frame, k: int, panel: Panel) -> list[str]:
    x0 = frame.left + k * (frame.wide + frame.gap)
    out = []
    if panel.limit is not None:
        out.extend(_limit_areas(frame, k, panel))
    for t in frame.y_ticks:
        y = float(frame.y(np.array([t]))[0])
        out.append(f'<path d="M{_n(x0)} {_n(y)}h{_n(frame.wide)}" stroke="{_GRID}" stroke-width=".6"/>')
        if k == 0:
            out.append(_text(x0 - 4, y + 3, _tick(t), anchor="end", colour=_SOFT))
    for t in frame.x_ticks:
        x = float(frame.x(np.array([t]), k)[0])
        out.append(f'<path d="M{_n(x)} {_n(frame.top)}v{_n(frame.tall)}" stroke="{_GRID}" stroke-width=".6"/>')
        out.append(_text(x, frame.top + frame.tall + 11, _tick(t), anchor="middle", colour=_SOFT))
    for n, curve in enumerate(panel.curves):
        colour, dash = STYLES[n % len(STYLES)]
        out.append(_line(frame, k, curve, colour, dash, 1.0))
    if panel.limit is not None:
        out.append(_line(frame, k, panel.limit, _INK, "", 2.0))
    out.append(
        f'<rect x="{_n(x0)}" y="{_n(frame.top)}" width="{_n(frame.wide)}" height="{_n(frame.tall)}" fill="none" '
        f'stroke="{_SOFT}" stroke-width=".7"/>'
    )
    out.append(_text(x0, frame.top - 7, panel.heading, colour=_INK, size=9.5, weight="bold"))
    if panel.mark is not None:
        out.extend(_mark(frame, k, panel.mark, x0))
    return out


def _limit_areas(frame: _Frame, k: int, panel: Panel) -> list[str]:
    limit = panel.limit
    assert limit is not None
    good = ~np.isnan(limit.y)
    lx, ly = frame.x(limit.x[good], k), frame.y(limit.y[good])
    if not len(lx):
        return []
    edge = frame.top if panel.sense == "max" else frame.top + frame.tall
    lx2, ly2 = thin(lx, ly, int(frame.wide))
    area = _points(lx2, ly2) + f"L{_n(lx2[-1])} {_n(edge)}L{_n(lx2[0])} {_n(edge)}Z"
    out = []
    worst = _envelope(panel)
    if worst is not None:
        wx, wy = thin(frame.x(worst.x, k), frame.y(worst.y), int(frame.wide))
        lim = np.interp(wx, lx, ly)
        keep = ~np.isnan(wy) & (wx >= lx[0] - 0.01) & (wx <= lx[-1] + 0.01)
        if keep.any():
            around = np.r_[wx[keep], wx[keep][::-1]], np.r_[wy[keep], lim[keep][::-1]]
            ring = _points(*around) + "Z"
            out.append(f'<path d="{ring}" fill="{_MARGIN}"/>')
    out.append(f'<path d="{area}" fill="url(#fail)"/>')
    return out


def _envelope(panel: Panel) -> Curve | None:
    """The worst of all curves at each frequency, where they share one axis."""
    curves = panel.curves
    if not curves or any(len(c.x) != len(curves[0].x) or not np.array_equal(c.x, curves[0].x) for c in curves):
        return None
    stack = np.vstack([c.y for c in curves])
    empty = np.isnan(stack).all(axis=0)
    fill = -np.inf if panel.sense == "max" else np.inf
    stack = np.where(np.isnan(stack), fill, stack)
    worst = stack.max(axis=0) if panel.sense == "max" else stack.min(axis=0)
    return Curve("", curves[0].x, np.where(empty, np.nan, worst))


def _line(frame: _Frame, k: int, curve: Curve, colour: str, dash: str, width: float) -> str:
    x, y = thin(frame.x(curve.x, k), frame.y(curve.y), int(frame.wide * 0.75))
    dashes = f' stroke-dasharray="{dash}"' if dash else ""
    return (
        f'<path d="{_points(x, y)}" fill="none" stroke="{colour}" stroke-width="{width}" '
        f'stroke-linejoin="round"{dashes}/>'
    )


def _mark(frame: _Frame, k: int, mark: Mark, x0: float) -> list[str]:
    x, y = float(frame.x(np.array([mark.x]), k)[0]), float(frame.y(np.array([mark.y]))[0])
    words = mark.text.split("\n")
    left = x > x0 + frame.wide * 0.55
    tx, ty = (x - 9 if left else x + 9), max(frame.top + 12, min(y - 8, frame.top + frame.tall - 12 * len(words)))
    out = [
        f'<circle cx="{_n(x)}" cy="{_n(y)}" r="4.2" fill="none" stroke="{_INK}" stroke-width="1.3"/>',
        f'<circle cx="{_n(x)}" cy="{_n(y)}" r="1.1" fill="{_INK}"/>',
    ]
    for n, line in enumerate(words):
        out.append(_text(tx, ty + 10.5 * n, line, anchor="end" if left else "start", halo=True))
    return out


def _legend(frame: _Frame, panels: Sequence[Panel]) -> list[str]:
    entries: dict[str, tuple[str, str, float]] = {}
    for p in panels:
        for n, c in enumerate(p.curves):
            entries.setdefault(c.label, (*STYLES[n % len(STYLES)], 1.3))
    if any(p.limit is not None for p in panels):
        entries[next(p.limit.label for p in panels if p.limit is not None)] = (_INK, "", 2.0)
    out = []
    per_row = max(1, (frame.width - 60) // 92)
    for n, (label, (colour, dash, width)) in enumerate(entries.items()):
        x = frame.left + 92 * (n % per_row)
        y = frame.height - 13 * frame.rows + 13 * (n // per_row) + 4
        dashes = f' stroke-dasharray="{dash}"' if dash else ""
        out.append(f'<path d="M{x} {_n(y)}h24" stroke="{colour}" stroke-width="{width}"{dashes}/>')
        out.append(_text(x + 28, y + 3, label))
    return out


def _defs() -> str:
    return (
        '<defs><pattern id="fail" width="5" height="5" patternUnits="userSpaceOnUse" patternTransform="rotate(45)">'
        f'<path d="M0 0v5" stroke="{_FAIL}" stroke-width="1"/></pattern></defs>'
    )


def _text(
    x: float,
    y: float,
    text: str,
    *,
    anchor: str = "start",
    colour: str = _INK,
    size: float = 8.5,
    weight: str = "",
    halo: bool = False,
) -> str:
    bold = f' font-weight="{weight}"' if weight else ""
    # A white edge under the letters keeps them readable over curves.
    under = (
        f'<text x="{_n(x)}" y="{_n(y)}" font-size="{size}" text-anchor="{anchor}" fill="none" stroke="#fff" '
        f'stroke-width="3" stroke-linejoin="round"{bold}>{escape(text)}</text>'
        if halo
        else ""
    )
    return (
        under + f'<text x="{_n(x)}" y="{_n(y)}" font-size="{size}" text-anchor="{anchor}" fill="{colour}"{bold}>'
        f"{escape(text)}</text>"
    )


def _points(x: Array, y: Array) -> str:
    """Path through the points, in steps of a tenth of a dot; a missing point lifts the pen."""
    out: list[str] = []
    last: tuple[int, int] | None = None
    for a, b in zip(np.round(x * 10).tolist(), np.round(y * 10).tolist(), strict=True):
        if math.isnan(b):
            last = None
            continue
        here = (int(a), int(b))
        if last is None:
            out.append(f"M{_n(here[0] / 10)} {_n(here[1] / 10)}")
        elif here != last:
            down = _n((here[1] - last[1]) / 10)
            out.append(f"l{_n((here[0] - last[0]) / 10)}{'' if down.startswith('-') else ' '}{down}")
        last = here
    return "".join(out)


def _n(value: float) -> str:
    return f"{value:.1f}".removesuffix(".0")


def _tick(value: float) -> str:
    return f"{value:g}"


def _inside(ticks: list[float], frame: _Frame) -> list[float]:
    return [t for t in ticks if frame.x0 <= t <= frame.x1]


def _ticks(low: float, high: float, about: int) -> list[float]:
    """Round numbers from at or below low to at or above high."""
    if low == high:
        low, high = low - 1, high + 1
    raw = (high - low) / about
    power = 10.0 ** math.floor(math.log10(raw))
    step = next(m * power for m in (1, 2, 5, 10) if m * power >= raw)
    first, last = math.floor(low / step + 1e-9), math.ceil(high / step - 1e-9)
    return [round(k * step, 10) for k in range(first, last + 1)]


def _log_ticks(low: float, high: float) -> list[float]:
    """1, 2, 5 of every decade; the decades alone where there are many."""
    digits = (1, 2, 5) if high / low < 2e4 else (1,)
    found = [
        d * 10.0**p
        for p in range(math.floor(math.log10(low)), math.ceil(math.log10(high)) + 1)
        for d in digits
        if low * 0.999 <= d * 10.0**p <= high * 1.001
    ]
    return [round(t, 10) for t in found]
