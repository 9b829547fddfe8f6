"""Pictures of curves as plain SVG: small, the same bytes every time, readable in grey."""

from __future__ import annotations

from archive.answers.plots.model import Curve, Event, Mark, Panel
from archive.answers.plots.scale import LINEAR, LOG, ROOT
from archive.answers.plots.svg import plot
from archive.answers.plots.thin import thin

__all__ = ["LINEAR", "LOG", "ROOT", "Curve", "Event", "Mark", "Panel", "plot", "thin"]
