"""One picture as SVG text: panels that share their axes, all curves of a parameter against its limit."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from archive.answers.plots import pen
from archive.answers.plots.axes import Axes, Style
from archive.answers.plots.frame import LEGEND_ROW, PlotFrame
from archive.answers.plots.mark import ring
from archive.answers.plots.model import NARROW, USUAL, Box, LeftOut, Panel, PlotCurve, PlotLayout
from archive.answers.plots.pen import HATCH_FILL, INK, LETTERS, SHADE, SOFT, curve_styles, escape, figure, haloed, text
from archive.answers.plots.scale import Array
from archive.answers.plots.thin import thin

Bools = NDArray[np.bool_]
_DASHES = "5 3"
_BEHIND = ("#b9b4bd", "")
_BAR = 5.0
"""Thickness of the bar that marks a failing stretch, in dots."""


def plot(
    panels: Sequence[Panel],
    *,
    title: str,
    x_label: str,
    y_label: str,
    layout: PlotLayout = USUAL,
) -> str:
    """The picture as a self-contained SVG text with a title for screen readers.

    Panels share both axes. The side of the limit on which a point fails is hatched; the distance between the limit
    and the worst curve is shaded; the worst point is ringed, and its curve is drawn wide, in its own style. A bar at
    the lower edge marks where points fail. Where points are left out the limit is dashed, and where those of every
    curve are, nothing is hatched or shaded. Curves are thinned to the page, extremes kept.
    Errors: ValueError where no panel holds a point.
    """
    labels = list(dict.fromkeys(c.label for p in panels for c in p.curves))
    styles = dict(zip(labels, curve_styles(len(labels)), strict=False))
    entries = _entries(panels, layout, styles)
    frame = PlotFrame(panels, layout, [label for label, _ in entries])
    body: list[str] = []
    for box, panel in zip(frame.boxes, panels, strict=True):
        body.extend(_panel(frame, box, panel, styles))
    first, last = frame.boxes[0], frame.boxes[-1]
    body.append(
        text(
            (first.left + last.left + last.wide) / 2,
            frame.axis_text,
            x_label,
            anchor="middle",
            colour=SOFT,
            size=LETTERS,
        )
    )
    middle = figure((first.top + last.top + last.tall) / 2)
    body.append(
        f'<text x="12" y="{middle}" transform="rotate(-90 12 {middle})" text-anchor="middle" font-size="{LETTERS}" '
        f'fill="{SOFT}">{escape(y_label)}</text>'
    )
    for (label, sample), (x, row) in zip(entries, frame.legend, strict=True):
        y = frame.legend_top + LEGEND_ROW * row
        body.append(sample.format(x=figure(x), y=figure(y), top=figure(y - 4)))
        body.append(text(x + 28, y + 3.6, label, size=LETTERS))
    return pen.picture(layout.width, frame.height, title, "".join(body))


def drawn_twice(
    panels: Sequence[Panel], *, title: str, x_labels: tuple[str, str], y_label: str, layout: PlotLayout = USUAL
) -> tuple[str, str]:
    """The picture for a page, and the one for a phone. x_labels: what the axis across is called on each. Errors: as
    plot."""
    small = replace(layout, width=NARROW, narrow=True)
    wide, slim = x_labels
    return (
        plot(panels, title=title, x_label=wide, y_label=y_label, layout=layout),
        plot(panels, title=title, x_label=slim, y_label=y_label, layout=small),
    )


def _entries(panels: Sequence[Panel], layout: PlotLayout, styles: Mapping[str, Style]) -> list[tuple[str, str]]:
    """Cells of the legend: a label and a sample of what it names."""
    found = {label: pen.stroke("M{x} {y}h24", *style, 1.4) for label, style in styles.items()}
    if any(p.context for p in panels):
        found[layout.context] = pen.stroke("M{x} {y}h24", *_BEHIND, 1.2)
    limits = [p.limit for p in panels if p.limit is not None]
    if limits:
        margin, fails, free, failing = layout.words
        found[limits[0].label] = pen.stroke("M{x} {y}h24", INK, "", 2.0)
        if any(p.left_out is not None for p in panels):
            found[free] = pen.stroke("M{x} {y}h24", INK, _DASHES, 2.0)
        if any(_shaded(p) for p in panels):
            found[margin] = f'<rect x="{{x}}" y="{{top}}" width="24" height="8" fill="{SHADE}"/>'
        found[fails] = '<rect x="{x}" y="{top}" width="24" height="8" fill="url(#fail)"/>'
        if any(p.failing for p in panels):
            found[failing] = pen.stroke("M{x} {y}h24", INK, "", _BAR)
    return [(label, sample) for label, sample in found.items() if label]


def _shaded(panel: Panel) -> bool:
    """Whether the distance between limit and curves is shaded: not where curves of two tests stand in one panel."""
    return panel.limit is not None and not panel.context


def _panel(frame: PlotFrame, box: Box, panel: Panel, styles: Mapping[str, Style]) -> list[str]:
    axes, columns = frame.axes(box), int(box.wide * frame.layout.detail)
    if panel.limit is not None:
        _areas(axes, panel, panel.limit, columns)
    frame.grid(axes)
    for curve in panel.context:
        axes.line(curve.x, curve.y, _BEHIND, 0.7, columns)
    deciding = panel.mark.curve if panel.mark is not None else ""
    for curve in panel.curves:
        if curve.label != deciding:
            axes.line(curve.x, curve.y, styles[curve.label], 1.4 if panel.context else 0.9, columns)
    for curve in panel.curves:
        if curve.label == deciding:
            axes.line(curve.x, curve.y, ("#fff", ""), 3.2, columns)
            axes.line(curve.x, curve.y, styles[curve.label], 1.8, columns)
    if panel.limit is not None:
        _limit(axes, panel.limit, panel.left_out, columns)
    for event in panel.events:
        axes.line([event.x] * 2, [frame.y0, frame.y1], (SOFT, "2 2"), 0.8)
        axes.parts.append(haloed(float(axes.x(event.x)) + 2, box.top + 11, event.text, size=LETTERS))
    axes.edges(closed=True)
    for first, last in panel.failing:
        left, right = float(axes.x(first)), float(axes.x(last))
        path = f"M{figure(left - 1)} {figure(axes.bottom)}L{figure(right + 1)} {figure(axes.bottom)}"
        axes.parts.append(pen.stroke(path, INK, "", _BAR))
    axes.parts.append(text(box.left, box.top - 6, panel.heading, size=LETTERS, bold=True))
    if panel.mark is not None:
        ring(axes, panel, panel.mark)
    return axes.parts


def _limit(axes: Axes, limit: PlotCurve, left_out: LeftOut | None, columns: int) -> None:
    """The limit line, dashed where points are left out."""
    dashed = np.zeros(len(limit.x), np.bool_) if left_out is None else _inside(limit.x, left_out.some)
    axes.line(limit.x, np.where(dashed, np.nan, limit.y), (INK, ""), 2.0, columns)
    if dashed.any():
        reached = dashed | np.r_[False, dashed[:-1]]  # up to the point at which the line goes on
        axes.line(limit.x, np.where(reached, limit.y, np.nan), (INK, _DASHES), 2.0, columns)


def _inside(x: Array, stretch: tuple[float, float]) -> Bools:
    return (x >= stretch[0]) & (x <= stretch[1])


def _runs(kept: Bools) -> Iterator[slice]:
    """Stretches in which a flag is true."""
    edges = np.flatnonzero(np.diff(np.r_[False, kept, False]))
    for first, last in zip(edges[::2].tolist(), edges[1::2].tolist(), strict=True):
        yield slice(first, last)


def _areas(axes: Axes, panel: Panel, limit: PlotCurve, columns: int) -> None:
    """The failing side, hatched, and the margin, shaded; neither where points of every curve are left out."""
    good = np.isfinite(limit.y)
    if not good.any():
        return
    lx, ly = axes.x(limit.x[good]), axes.y(limit.y[good])
    every = None if panel.left_out is None else panel.left_out.every
    judged = np.ones(len(lx), np.bool_) if every is None else ~_inside(limit.x[good], every)
    worst = _envelope(panel) if _shaded(panel) else None
    if worst is not None:
        wx, wy = thin(axes.x(worst.x), axes.y(worst.y), columns)
        line = np.interp(wx, lx, ly)
        keep = np.isfinite(wy) & (wx >= lx[0] - 0.01) & (wx <= lx[-1] + 0.01)
        for run in [keep] if every is None else list(_runs(keep & ~_inside(wx, _across(axes, every)))):
            around = np.r_[wx[run], wx[run][::-1]], np.r_[wy[run], line[run][::-1]]
            axes.parts.append(f'<path d="{pen.points(*around)}Z" fill="{SHADE}"/>')
    edge = figure(axes.box.top if panel.sense == "max" else axes.bottom)
    for run in _runs(judged):
        tx, ty = thin(lx[run], ly[run], int(axes.box.wide))
        field = pen.points(tx, ty) + f"L{figure(tx[-1])} {edge}L{figure(tx[0])} {edge}Z"
        axes.parts.append(f'<path d="{field}" fill="{HATCH_FILL}"/>')


def _across(axes: Axes, stretch: tuple[float, float]) -> tuple[float, float]:
    """A stretch in dots, wider by less than a step of the path."""
    return float(axes.x(stretch[0])) - 0.01, float(axes.x(stretch[1])) + 0.01


def _envelope(panel: Panel) -> PlotCurve | None:
    """The worst of all curves at each frequency, where they share one axis."""
    curves = panel.curves
    if not curves or any(len(c.x) != len(curves[0].x) or not np.array_equal(c.x, curves[0].x) for c in curves):
        return None
    stack = np.vstack([c.y for c in curves])
    empty = np.isnan(stack).all(axis=0)
    fill = -np.inf if panel.sense == "max" else np.inf
    stack = np.where(np.isnan(stack), fill, stack)
    worst: Array = stack.max(axis=0) if panel.sense == "max" else stack.min(axis=0)
    return PlotCurve("", curves[0].x, np.where(empty, np.nan, worst))
