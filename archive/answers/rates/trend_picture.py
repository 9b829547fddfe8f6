"""A picture of a trend: first-time rates by period with their limits, alarms and change."""

from __future__ import annotations

from itertools import groupby

import numpy as np

from archive.answers.plots.axes import CIRCLE, SQUARE, Axes
from archive.answers.plots.model import Box
from archive.answers.plots.pen import PAIRS, SOFT, text
from archive.answers.plots.scale import even
from archive.answers.plots.sheet import HEAD, Key, Sheet
from archive.answers.rates.fields import FIELDS
from archive.answers.rates.trend import Trend
from archive.errors import Trouble
from archive.vocabulary.counted import counted

_WIDE = 820


def of_trend(found: Trend, title: str = "") -> Sheet:
    """The chart. Errors: Trouble where there is no period."""
    if not found.points:
        raise Trouble("there is nothing to draw: no link is graded", code="picture.nothing-to-draw")
    field = FIELDS[found.of]
    numbers = [field.parse(p["period"]) for p in found.points]
    at = [n - numbers[0] for n in numbers]
    lows = [p["low"] for p in found.points if p["n"] >= 20] or [p["low"] for p in found.points]
    low = max(0.0, min(*lows, *(p["rate"] for p in found.points)) - 0.01)
    ends = (low, 1 + 0.015 * (1 - low))
    axes = Axes(Box(68, HEAD + 22, _WIDE - 84, 260), (-0.6, at[-1] + 0.6), ends)
    step = max(1, -(-(at[-1] + 1) // 10))
    labels = [(i, str(field.shown(numbers[0] + i))) for i in range(0, at[-1] + 1, step)]
    axes.grid(labels, [(t, f"{100 * t:.6g} %") for t in even(*ends, 6) if ends[0] <= t <= 1], "y")
    axes.edges()
    colour, warn = PAIRS[0][0], PAIRS[1][0]
    if found.centre is not None:
        axes.line([-0.6, at[-1] + 0.6], [found.centre] * 2, (SOFT, "5 3"), 0.9)
    outside = {a["period"] for a in found.alarms}
    for i, p in zip(at, found.points, strict=True):
        axes.line([i, i], [max(low, p["low"]), p["high"]], (colour, ""), 1.1)
        if found.judged:
            for edge in (p["limit_low"], p["limit_high"]):
                if edge >= low:  # the limit of a small period never stretches the axis
                    axes.line([i - 0.4, i + 0.4], [edge, edge], (SOFT, ""), 1.2)
    for _, run in groupby(enumerate(zip(at, found.points, strict=True)), key=lambda x: x[1][0] - x[0]):
        some = [x[1] for x in run]
        axes.line([i for i, _ in some], [p["rate"] for _, p in some], (colour, ""), 1.3)
    for i, p in zip(at, found.points, strict=True):
        odd = p["period"] in outside
        axes.markers([i], [p["rate"]], SQUARE if odd else CIRCLE, warn if odd else colour, warn if odd else "#fff")
    if found.change is not None:
        i = field.parse(found.change["period"]) - numbers[0] - 0.5
        axes.line([i, i], list(ends), (warn, "7 2.5"), 1.2)
        axes.words(
            float(axes.x(np.array(i))) - axes.box.left + 4, 10, f"changed at {found.change['period']}", colour=warn
        )
    under = f"{counted(sum(p['n'] for p in found.points), 'first test')}; "
    under += "short lines: limits that 19 of 20 charts of like jobs keep within"
    sheet = Sheet(_WIDE, int(axes.bottom) + 66, title or "First-time pass rate over time", under, found.about)
    sheet.add(axes)
    sheet.parts.append(text(_WIDE / 2, axes.bottom + 32, "no line where nothing was tested", anchor="middle", size=9))
    keys = [
        Key("rate with its 95 % interval", (colour, ""), 1.3, (CIRCLE, colour, "#fff")),
        Key("outside, or smoothed line outside", (warn, ""), 0.0, (SQUARE, warn, warn)),
        Key("all periods", (SOFT, "5 3"), 0.9),
    ]
    sheet.legend(keys, 68, axes.bottom + 52, 3)
    return sheet
