"""Pictures of curves as plain SVG: small, the same bytes every time, readable in grey."""

from __future__ import annotations

from archive.answers.plots.svg import Curve, Mark, Panel, plot
from archive.answers.plots.thin import thin

__all__ = ["Curve", "Mark", "Panel", "plot", "thin"]
