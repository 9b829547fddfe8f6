"""A picture of a limit: its lines over frequency, like parameters together. matplotlib without pyplot."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from archive import vocabulary
from archive.atomic import atomic_write
from archive.errors import Trouble
from archive.limits.limit import Limit
from archive.limits.line import Line

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

# Okabe and Ito's colours, told apart by people who do not see red from green; the dashes tell them apart without any.
COLOURS = ("#0072B2", "#D55E00", "#009E73", "#CC79A7")
DASHES: tuple[Any, ...] = ("-", (0, (5, 1.6)), (0, (1.2, 1.2)), (0, (6, 1.4, 1.2, 1.4)))
PANELS: tuple[tuple[str, tuple[str, ...]], ...] = (
    ("Insertion loss", ("insertion_loss",)),
    ("Return loss", ("return_loss",)),
    ("Near-end crosstalk", ("next", "ps_next")),
    ("Attenuation to crosstalk ratio, far end", ("acr_f", "ps_acr_f", "elfext", "ps_elfext", "fext", "ps_fext")),
    ("Attenuation to crosstalk ratio, near end", ("acr_n", "ps_acr_n")),
    ("Alien crosstalk", ("ps_anext", "ps_anext_average", "ps_aacr_f", "ps_aacr_f_average")),
    ("Balance and coupling", ("tcl", "eltctl", "coupling_attenuation")),
    ("Propagation delay", ("propagation_delay",)),
)
FIRM, MEMORY = 2.4, 1.1
TICKS = (0.1, 1, 4, 10, 16, 31.25, 62.5, 100, 250, 500, 1000, 2000)


def save(limit: Limit, out: Path) -> None:
    """Draws the limit into a file whose ending says what it is: .svg, .png or .pdf.

    Errors: Trouble for another ending, or for a limit that has no line.
    """
    if out.suffix not in (".svg", ".png", ".pdf"):
        where, expected = str(out), ".svg, .png or .pdf"
        raise Trouble("a picture of this kind cannot be drawn", code="limit.picture", where=where, expected=expected)
    if not limit.lines:
        remedy = "supply its lines with `muniment limits confirm`" if not limit.established else ""
        raise Trouble("this limit has no line to draw", code="limit.picture", found=limit.id, remedy=remedy)
    import matplotlib

    metadata: dict[str, Any] = {".png": {}, ".svg": {"Date": None}, ".pdf": {"CreationDate": None}}[out.suffix]
    settings: Any = {"svg.hashsalt": limit.id, "svg.fonttype": "path", "font.size": 9}
    with atomic_write(out) as temporary, matplotlib.rc_context(settings):
        draw(limit).savefig(temporary, format=out.suffix[1:], dpi=160, metadata=metadata)


def draw(limit: Limit) -> Figure:
    """The limit as a figure: one panel for each group of parameters that it has."""
    from matplotlib.figure import Figure

    groups = [(title, [limit.lines[n] for n in names if n in limit.lines]) for title, names in PANELS]
    groups = [(title, lines) for title, lines in groups if lines]
    rows = (len(groups) + 1) // 2
    height = 1.5 + 2.7 * rows
    figure = Figure(figsize=(9.6, height), layout="constrained")
    figure.get_layout_engine().set(rect=(0, 0.55 / height, 1, 1 - 1.25 / height), h_pad=0.08, w_pad=0.08)  # type: ignore[union-attr,call-arg]
    axes = figure.subplots(rows, 2 if len(groups) > 1 else 1, squeeze=False).ravel()
    for axis, (title, lines) in zip(axes, groups, strict=False):
        _panel(axis, title, lines)
    for axis in axes[len(groups) :]:
        axis.set_axis_off()
    figure.text(0.012, 1 - 0.22 / height, limit.id, fontsize=13, fontweight="bold", va="center")
    figure.text(0.012, 1 - 0.46 / height, _under(limit), fontsize=9, color="#444444", va="center")
    figure.text(0.012, 0.28 / height, _foot(limit), fontsize=8, color="#444444", va="center")
    return figure


def _panel(axis: Axes, title: str, lines: Sequence[Line]) -> None:
    """One panel: logarithmic frequency; what is known only from memory is drawn thin."""
    lows, highs = zip(*(line.range_mhz for line in lines), strict=True)
    low, high = min(lows), max(highs)
    for number, line in enumerate(lines):
        colour, dash = COLOURS[number % len(COLOURS)], DASHES[number % len(DASHES)]
        f = line.grid(600)
        values, confidences = line.at(f), line.confidence_at(f)
        firm = confidences != "C"
        label = vocabulary.parameter(line.parameter).name
        if any(segment.note == "at this frequency only" for segment in line.segments):
            inside = colour if firm[0] else "white"
            axis.plot(f, values, "o", color=colour, markerfacecolor=inside, markersize=6, label=label, clip_on=False)
            continue
        for which, width in ((firm, FIRM), (~firm, MEMORY)):
            shown = _with_edges(which)
            if which.any():
                name = label if which is firm or not firm.any() else "_"
                part = np.where(shown, values, np.nan)
                axis.plot(f, part, color=colour, linestyle=dash, linewidth=width, label=name, solid_capstyle="butt")
    unit, sense = lines[0].unit, lines[0].sense
    alone = len(lines) == 1 and vocabulary.parameter(lines[0].parameter).name == title.lower()
    role = f" ({lines[0].role})" if lines[0].role != "required" else ""
    axis.set_title(title + role, loc="left", fontsize=10, fontweight="bold")
    axis.set_ylabel(f"{sense}imum, {unit}")
    axis.set_xlabel("MHz", loc="right", labelpad=1)
    axis.set_xscale("log")
    if high > low:
        axis.set_xlim(low, high)
    ticks = [t for t in TICKS if low <= t <= high and (t in (low, high) or low * 1.25 < t < high / 1.2)]
    ticks = sorted({*ticks, low, high})
    axis.set_xticks(ticks, [f"{t:g}" for t in ticks])
    axis.minorticks_off()
    axis.grid(True, color="#d9d9d9", linewidth=0.6)
    axis.spines[["top", "right"]].set_visible(False)
    axis.margins(y=0.08)
    if not alone:
        place: dict[str, Any] = {"loc": "upper center", "bbox_to_anchor": (0.5, -0.2), "borderaxespad": 0.0}
        axis.legend(fontsize=8, frameon=False, handlelength=3.2, ncols=2 if len(lines) != 3 else 3, **place)


def _with_edges(which: np.ndarray[Any, np.dtype[np.bool_]]) -> np.ndarray[Any, np.dtype[np.bool_]]:
    """The points of a part and the next one behind it, so that parts of a line meet."""
    shown = which.copy()
    shown[1:] |= which[:-1]
    return shown


_FOOT_WIDTH = 130
"""Characters of a line under the picture."""


def _under(limit: Limit) -> str:
    clause = f", {limit.clause}" if limit.clause else ""
    return limit.title if limit.own else f"{limit.document}{clause}"


def _foot(limit: Limit) -> str:
    """The numbers that are no line, and what thin lines mean."""
    numbers = []
    for scalar in limit.scalars.values():
        at = f" at {scalar.at_mhz:g} MHz" if scalar.at_mhz else ""
        numbers.append(f"{vocabulary.parameter(scalar.parameter).name} {scalar.value:g} {scalar.unit}{at}")
    remembered = any((line.confidence_at(line.grid()) == "C").any() for line in limit.lines.values())
    memory = "Thin or hollow: from memory, to be verified against the standard." if remembered else ""
    text = "; ".join(numbers) + ("." if numbers else "")
    return "\n".join(textwrap.wrap(f"{text} {memory}", _FOOT_WIDTH))
