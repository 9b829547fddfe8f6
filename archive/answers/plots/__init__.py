"""Pictures of curves as plain SVG: small, the same bytes every time, readable in grey."""

from __future__ import annotations

from archive.answers.plots.curve_plot import drawn_twice, plot
from archive.answers.plots.model import Event, LeftOut, Mark, Panel, PlotCurve, PlotLayout
from archive.answers.plots.scale import LINEAR, LOG, ROOT
from archive.answers.plots.thin import thin

__all__ = [
    "LINEAR",
    "LOG",
    "ROOT",
    "Event",
    "LeftOut",
    "Mark",
    "Panel",
    "PlotCurve",
    "PlotLayout",
    "drawn_twice",
    "plot",
    "thin",
]
