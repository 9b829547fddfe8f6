"""What a picture shows, free of how it is drawn."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import NamedTuple

from archive.answers.plots.scale import ROOT, Array


class Box(NamedTuple):
    """The inner field of one panel, in dots."""

    left: float
    top: float
    wide: float
    tall: float


@dataclass(frozen=True)
class PlotCurve:
    """One curve. x: MHz (or km), rising, shape (n,); y: shape (n,), NaN where missing."""

    label: str
    x: Array
    y: Array


@dataclass(frozen=True)
class Mark:
    """A point worth showing: where it is, what to say of it, and the label of the curve it lies on."""

    x: float
    y: float
    text: str
    curve: str = ""


@dataclass(frozen=True)
class Event:
    """A place along the axis with a short name, such as an event of an optical trace."""

    x: float
    text: str


@dataclass(frozen=True)
class LeftOut:
    """Where points are for information only, as first and last x. some: of any curve, so that the limit is dashed;
    every: of all curves, so that nothing fails there. None: nowhere."""

    some: tuple[float, float]
    every: tuple[float, float] | None = None


@dataclass(frozen=True)
class Panel:
    """One panel. sense: "max" where the limit must not be exceeded, "min" where it must be reached.

    failing: stretches in which points fail, as first and last x; context: curves that stand behind, pale.
    """

    heading: str
    curves: tuple[PlotCurve, ...]
    limit: PlotCurve | None = None
    sense: str = "min"
    mark: Mark | None = None
    events: tuple[Event, ...] = ()
    left_out: LeftOut | None = None
    failing: tuple[tuple[float, float], ...] = ()
    context: tuple[PlotCurve, ...] = ()


@dataclass(frozen=True)
class PlotLayout:
    """How a picture of curves is laid out. width, height: dots; scale: of the axis across, see plots.scale.

    stacked: panels beneath each other at full width, else side by side. detail: columns of points that a curve keeps,
    per dot. words: how the legend calls the shade, the hatch, the dashed limit and the failing stretch; what it
    calls "" is not in it. y_range: of the
    axis upwards, None: as the curves need it; what lies outside is drawn at the edge. context: how the legend calls
    the curves behind. narrow: for a phone; the legend stands beneath and adds to the height, and the axis across has
    fewer figures.
    """

    width: int = 680
    height: int = 260
    scale: str = ROOT
    stacked: bool = False
    detail: float = 0.75
    words: tuple[str, str, str, str] = ("margin", "fails", "limit, for information", "failing stretch")
    context: str = ""
    y_range: tuple[float, float] | None = None
    tick_text: Callable[[float], str] = "{:g}".format
    narrow: bool = False


NARROW = 360
"""Width of a picture for a phone, in dots: about that of its screen, so that letters keep their size."""
USUAL = PlotLayout()
