"""One picture as SVG text: panels that share their axes, all curves of a parameter against its limit."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from archive.answers.plots import pen
from archive.answers.plots.axes import Axes
from archive.answers.plots.frame import LEGEND_ROW, PlotFrame
from archive.answers.plots.mark import ring
from archive.answers.plots.model import USUAL, Box, Panel, PlotCurve, PlotLayout
from archive.answers.plots.pen import HATCH_FILL, INK, SHADE, SOFT, STYLES, escape, figure, haloed, text
from archive.answers.plots.scale import Array
from archive.answers.plots.thin import thin


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
    and the worst curve is shaded; the worst point is ringed and its curve drawn black. Curves are thinned to the
    page, extremes kept. Errors: ValueError where no panel holds a point.
    """
    entries = _entries(panels, layout.words)
    frame = PlotFrame(panels, layout, [label for label, _ in entries])
    body: list[str] = []
    for box, panel in zip(frame.boxes, panels, strict=True):
        body.extend(_panel(frame, box, panel))
    first, last = frame.boxes[0], frame.boxes[-1]
    body.append(text((first.left + last.left + last.wide) / 2, frame.axis_text, x_label, anchor="middle", colour=SOFT))
    middle = figure((first.top + last.top + last.tall) / 2)
    body.append(
        f'<text x="11" y="{middle}" transform="rotate(-90 11 {middle})" text-anchor="middle" font-size="8.5" '
        f'fill="{SOFT}">{escape(y_label)}</text>'
    )
    for (label, sample), (x, row) in zip(entries, frame.legend, strict=True):
        y = frame.legend_top + LEGEND_ROW * row
        body.append(sample.format(x=figure(x), y=figure(y), top=figure(y - 4)))
        body.append(text(x + 28, y + 3, label))
    return pen.picture(layout.width, layout.height, title, "".join(body))


def _entries(panels: Sequence[Panel], words: tuple[str, str, str]) -> list[tuple[str, str]]:
    """Cells of the legend: a label and a sample of what it names."""
    found: dict[str, str] = {}
    for p in panels:
        for n, c in enumerate(p.curves):
            found.setdefault(c.label, pen.stroke("M{x} {y}h24", *STYLES[n % len(STYLES)], 1.3))
    if any(p.mark is not None and p.mark.curve for p in panels):
        found[words[0]] = pen.stroke("M{x} {y}h24", INK, "", 1.1)
    limits = [p.limit for p in panels if p.limit is not None]
    if limits:
        found[limits[0].label] = pen.stroke("M{x} {y}h24", INK, "", 2.0)
        found[words[1]] = f'<rect x="{{x}}" y="{{top}}" width="24" height="8" fill="{SHADE}"/>'
        found[words[2]] = '<rect x="{x}" y="{top}" width="24" height="8" fill="url(#fail)"/>'
    return list(found.items())


def _panel(frame: PlotFrame, box: Box, panel: Panel) -> list[str]:
    axes, columns = frame.axes(box), int(box.wide * frame.layout.detail)
    if panel.limit is not None:
        _areas(axes, panel, panel.limit, columns)
    frame.grid(axes)
    deciding = panel.mark.curve if panel.mark is not None else ""
    for n, curve in enumerate(panel.curves):
        if curve.label != deciding:
            axes.line(curve.x, curve.y, STYLES[n % len(STYLES)], 0.9, columns)
    for curve in panel.curves:
        if curve.label == deciding:
            axes.line(curve.x, curve.y, ("#fff", ""), 2.4, columns)
            axes.line(curve.x, curve.y, (INK, ""), 1.1, columns)
    if panel.limit is not None:
        axes.line(panel.limit.x, panel.limit.y, (INK, ""), 2.0, columns)
    for event in panel.events:
        axes.line([event.x] * 2, [frame.y0, frame.y1], (SOFT, "2 2"), 0.8)
        axes.parts.append(haloed(float(axes.x(event.x)) + 2, box.top + 9, event.text))
    axes.edges(closed=True)
    axes.parts.append(text(box.left, box.top - 6, panel.heading, size=9, bold=True))
    if panel.mark is not None:
        ring(axes, panel, panel.mark)
    return axes.parts


def _areas(axes: Axes, panel: Panel, limit: PlotCurve, columns: int) -> None:
    """The failing side, hatched, and the margin, shaded."""
    good = np.isfinite(limit.y)
    if not good.any():
        return
    lx, ly = axes.x(limit.x[good]), axes.y(limit.y[good])
    worst = _envelope(panel)
    if worst is not None:
        wx, wy = thin(axes.x(worst.x), axes.y(worst.y), columns)
        line = np.interp(wx, lx, ly)
        keep = np.isfinite(wy) & (wx >= lx[0] - 0.01) & (wx <= lx[-1] + 0.01)
        if keep.any():
            around = np.r_[wx[keep], wx[keep][::-1]], np.r_[wy[keep], line[keep][::-1]]
            axes.parts.append(f'<path d="{pen.points(*around)}Z" fill="{SHADE}"/>')
    edge = figure(axes.box.top if panel.sense == "max" else axes.bottom)
    tx, ty = thin(lx, ly, int(axes.box.wide))
    field = pen.points(tx, ty) + f"L{figure(tx[-1])} {edge}L{figure(tx[0])} {edge}Z"
    axes.parts.append(f'<path d="{field}" fill="{HATCH_FILL}"/>')


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
