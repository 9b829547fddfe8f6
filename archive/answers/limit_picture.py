"""A picture of a limit: its lines over frequency, like parameters together."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from archive import vocabulary
from archive.answers.plots.axes import CIRCLE, Axes
from archive.answers.plots.model import Box
from archive.answers.plots.pen import SOFT, STYLES, text
from archive.answers.plots.scale import LOG, even, megahertz
from archive.answers.plots.sheet import HEAD, Key, Sheet, checked_form, letters, save_sheet
from archive.errors import Trouble
from archive.limits.limit import Limit
from archive.limits.line import Line

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
_WIDE, _LEFT, _FIELD, _TALL, _ROW = 960, 58, 400, 172, 284
_FOOT_WIDTH = 150
"""Characters of a line under the picture."""


def save(limit: Limit, out: Path) -> None:
    """Draws the limit into a file whose ending says what it is: .svg, .png or .pdf.

    Errors: Trouble for another ending, or for a limit that has no line.
    """
    checked_form(out)
    if not limit.lines:
        remedy = "supply its lines with `muniment limits confirm`" if not limit.established else ""
        raise Trouble("this limit has no line to draw", code="picture.nothing-to-draw", found=limit.id, remedy=remedy)
    save_sheet(draw(limit), out)


def draw(limit: Limit) -> Sheet:
    """The limit as a picture: one panel for each group of parameters that it has."""
    groups = [(title, [limit.lines[n] for n in names if n in limit.lines]) for title, names in PANELS]
    groups = [(title, lines) for title, lines in groups if lines]
    columns = min(2, len(groups))
    field = _FIELD if columns == 2 else _WIDE - _LEFT - 20
    foot = textwrap.wrap(_foot(limit), _FOOT_WIDTH)
    bottom = HEAD + 24 + _ROW * -(-len(groups) // 2)
    clause = f", {limit.clause}" if limit.clause else ""
    under = limit.title if limit.own else f"{limit.document}{clause}"
    sheet = Sheet(_WIDE, bottom + 16 * len(foot), limit.id, under)
    for n, (title, lines) in enumerate(groups):
        left, top = _LEFT + (_FIELD + 78) * (n % 2), HEAD + 24 + _ROW * (n // 2)
        _panel(sheet, Box(left, top, field, _TALL), title, lines)
    sheet.parts.extend(text(10, bottom + 6 + 16 * n, row, colour=SOFT, size=9) for n, row in enumerate(foot))
    return sheet


def _panel(sheet: Sheet, box: Box, title: str, lines: Sequence[Line]) -> None:
    """One panel: logarithmic frequency; what is known only from memory is drawn thin."""
    low, high = min(line.range_mhz[0] for line in lines), max(line.range_mhz[1] for line in lines)
    if high <= low:
        low, high = low / 2, high * 2
    drawn = [(line, f := line.grid(600), line.at(f), line.confidence_at(f) != "C") for line in lines]
    values = np.concatenate([v[np.isfinite(v)] for _, _, v, _ in drawn])
    least, most = float(values.min()), float(values.max())
    room = 0.08 * (most - least) or 1.0
    axes = Axes(box, (low, high), (least - room, most + room), LOG)
    axes.grid(megahertz(low, high), [(t, f"{t:g}") for t in even(least, most, 5) if least - room <= t <= most + room])
    axes.edges()
    keys = []
    for number, (line, f, at, firm) in enumerate(drawn):
        style, name = STYLES[number], vocabulary.parameter(line.parameter).name
        if any(segment.note == "at this frequency only" for segment in line.segments):
            fill = style[0] if firm[0] else "#fff"
            axes.markers(f, at, CIRCLE, style[0], fill)
            keys.append(Key(name, ("none", ""), 0.0, (CIRCLE, style[0], fill)))
            continue
        for part, width in ((firm, FIRM), (~firm, MEMORY)):
            axes.line(f, np.where(_with_edges(part), at, np.nan), style, width)
        keys.append(Key(name, style, FIRM if firm.any() else MEMORY))
    role = f" ({lines[0].role})" if lines[0].role != "required" else ""
    axes.parts.append(text(box.left, box.top - 10, title + role, size=10.5, bold=True))
    axes.words(box.wide, -10, f"{lines[0].sense}imum, {lines[0].unit}", anchor="end")
    axes.words(box.wide + 6, box.tall + 30, "MHz", anchor="end")
    sheet.add(axes)
    if len(lines) > 1 or keys[0].label != title.lower():
        columns = max(1, min(len(keys), int(box.wide / (58 + max(letters(k.label, 9) for k in keys)))))
        sheet.legend(keys, box.left, box.top + box.tall + 38, columns)


def _with_edges(which: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """The points of a part and the next one behind it, so that parts of a line meet."""
    shown = which.copy()
    shown[1:] |= which[:-1]
    return shown


def _foot(limit: Limit) -> str:
    """The numbers that are no line, and what thin lines mean."""
    numbers = []
    for scalar in limit.scalars.values():
        at = f" at {scalar.at_mhz:g} MHz" if scalar.at_mhz else ""
        numbers.append(f"{vocabulary.parameter(scalar.parameter).name} {scalar.value:g} {scalar.unit}{at}")
    remembered = any((line.confidence_at(line.grid()) == "C").any() for line in limit.lines.values())
    memory = "Thin or hollow: from memory, to be verified against the standard." if remembered else ""
    return f"{'; '.join(numbers)}{'.' if numbers else ''} {memory}".strip()
