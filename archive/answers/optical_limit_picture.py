"""A picture of an optical limit: loss over length, one line per wavelength."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from archive.answers.plots.axes import Axes
from archive.answers.plots.model import Box
from archive.answers.plots.pen import SOFT, STYLES, text
from archive.answers.plots.scale import even
from archive.answers.plots.sheet import HEAD, Key, Sheet, checked_form, save_sheet
from archive.errors import Trouble
from archive.limits.fiber import LossLimit, OpticalApplication, OpticalLimit

_LONGEST = {"multimode": 550.0, "single-mode": 10000.0}
_WIDE, _TALL = 560, 240
"""Dots; letters of 8.5 dots are 7 pt on a page, where 560 dots take 166 mm."""


def save(limit: OpticalLimit | OpticalApplication, out: Path) -> None:
    """Draws the limit into a file whose ending says what it is. Errors: Trouble where there is nothing to draw."""
    checked_form(out)
    if isinstance(limit, OpticalApplication) or not limit.established:
        raise Trouble("this limit has no line to draw", code="picture.nothing-to-draw", found=limit.id)
    save_sheet(draw(limit), out)


def draw(limit: OpticalLimit) -> Sheet:
    """Loss over length for links of two connections, without splices and with four, reference set with one cord."""
    box = Box(64, HEAD + 24, _WIDE - 90, _TALL)
    sheet = Sheet(_WIDE, HEAD + _TALL + 136, limit.id, limit.document)
    lengths = np.linspace(0.0, _LONGEST[limit.kind], 60)
    lines = []
    alike: dict[float, list[float]] = {}
    for nm, (db_km, _, _) in limit.coefficients.items():
        alike.setdefault(db_km, []).append(nm)
    for nm, *more in alike.values():
        for splices in (0, 4):
            found = [limit.loss(nm, float(m), 2, splices, "one-cord") for m in lengths]
            values = np.array([f.db for f in found if isinstance(f, LossLimit)])
            named = ", ".join(f"{other:g}" for other in (nm, *more))
            lines.append((f"{named} nm" + (f", {splices} splices" if splices else ""), values))
    ticks = even(0.0, max(float(v.max()) for _, v in lines) * 1.05, 7)
    metres = even(0.0, float(lengths[-1]), 7)
    axes = Axes(box, (0.0, float(lengths[-1])), (ticks[0], ticks[-1]))
    axes.grid([(m, f"{m:g}") for m in metres if m <= lengths[-1]], [(t, f"{t:g}") for t in ticks], "xy")
    axes.edges()
    keys = []
    for (name, values), style in zip(lines, STYLES, strict=False):
        axes.line(lengths, values, style, 2.0)
        keys.append(Key(name, style, 2.0))
    axes.words(box.wide / 2, box.tall + 30, "length, m", anchor="middle")
    sheet.add(axes)
    sheet.legend(keys, 10, HEAD + _TALL + 72, 3)
    feet = [
        "two connections; reference set with one cord; coefficients in dB/km",
        ", ".join(f"{nm:g} nm {db:g} ({letter})" for nm, (db, letter, _) in limit.coefficients.items()),
    ]
    for n, foot in enumerate(feet):
        sheet.parts.append(text(10, HEAD + _TALL + 112 + 13 * n, foot, colour=SOFT, size=9))
    return sheet
