"""Pictures of rates, of what failed and of margins: for a report, for readers who do not see red from green, in grey.

Series differ by colour, by dash and by marker.
"""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np

from archive import vocabulary
from archive.answers.count_text import percent
from archive.answers.plots.axes import CIRCLE, Axes
from archive.answers.plots.model import Box
from archive.answers.plots.pen import INK, PAIRS, curve_styles, figure, haloed, text
from archive.answers.plots.scale import LOG, Array, even, megahertz
from archive.answers.plots.sheet import HEAD, Key, Sheet, checked_form, left_of, save_sheet
from archive.answers.rates.distributions import Distribution, Spread
from archive.answers.rates.pareto import Failed
from archive.answers.rates.rate_pictures import of_rates
from archive.answers.rates.rates import Rates
from archive.answers.rates.trend import Trend
from archive.answers.rates.trend_picture import of_trend
from archive.errors import Trouble
from archive.vocabulary.counted import counted

MOST_BARS = 20
_WIDE = 820


def save(what: Rates | Failed | Distribution | Trend, out: Path, title: str = "") -> None:
    """Draws into a file whose ending says what it is: .svg, .png or .pdf; written aside, then renamed.

    title: said above, such as the name of the archive. Errors: Trouble for another ending, or nothing to draw.
    """
    checked_form(out)
    if isinstance(what, Rates):
        sheet = of_rates(what, title)
    elif isinstance(what, Trend):
        sheet = of_trend(what, title)
    elif isinstance(what, Failed):
        sheet = of_failed(what, title)
    else:
        sheet = of_distribution(what, title)
    save_sheet(sheet, out)


def of_failed(found: Failed, title: str = "") -> Sheet:
    """What failed, the most links first: bars of links, the failures beside them in words."""
    if not found.rows:
        raise Trouble("there is nothing to draw: nothing failed, or nothing says what", code="picture.nothing-to-draw")
    rows = found.rows[:MOST_BARS]
    names = [_failed_name(found, r) for r in rows]
    most = max(r["links"] for r in rows)
    left = left_of(names)
    axes = Axes(Box(left, HEAD + 6, _WIDE - left - 20, 32 * len(rows)), (0, most * 1.5), (len(rows) - 0.5, -0.5))
    ticks = [(t, f"{t:,.0f}") for t in even(0, most * 1.5, 6) if t <= most * 1.5 and t == int(t)]
    axes.grid(ticks, list(enumerate(names)), "x")
    axes.edges()
    for i, row in enumerate(rows):
        axes.bar(row["links"], i, 9, PAIRS[0][0])
        words = f"{_many(row['links'], 'link')}, {percent(row['share_of_links'])}; "
        axes.words(
            float(axes.x(row["links"])) - left + 8, 32 * (i + 0.5) + 3, words + _many(row["failures"], "failure")
        )
    axes.words(axes.box.wide / 2, axes.box.tall + 32, "failing links", anchor="middle")
    if len(found.rows) > len(rows):
        axes.words(axes.box.wide, -5, f"the first {len(rows)} of {len(found.rows)}", anchor="end")
    under = f"shares of {counted(found.failing, 'failing link')}; one link may fail in several ways"
    if found.unknown:
        under += f"; of {found.unknown:,} nothing says what failed"
    sheet = Sheet(_WIDE, int(axes.bottom) + 42, title or "What failed", under, found.about)
    sheet.add(axes)
    return sheet


def _many(number: int, word: str) -> str:
    return f"{number:,} {word}{'' if number == 1 else 's'}"


def _failed_name(found: Failed, row: dict[str, Any]) -> str:
    known = vocabulary.parameters()
    words = [
        known[v].name if part == "parameter" and v in known else str(v)
        for part in found.parts
        if (v := row[part]) is not None
    ]
    return ", ".join(words) or "no part named"


def of_distribution(found: Distribution, title: str = "") -> Sheet:
    """Margins over frequency where there is a limit, else values: median, band from 5 to 95 %, worst of any link."""
    margins = found.limit is not None
    drawn = [(n, s, _shown(s, margins)) for n, s in enumerate(found.spreads)]
    drawn = [d for d in drawn if len(d[2]["f"])]
    if not drawn:
        raise Trouble(
            "there is nothing to draw: no chosen record has curves of this parameter", code="picture.nothing-to-draw"
        )
    name = vocabulary.parameter(found.parameter).name
    what = "each pair or combination" if found.of == "curves" else "the worst of each link"
    under = f"{what}; the band holds 5 to 95 %, the thin line is the worst of any link"
    under += f"; margin against {found.limit}" if margins else ""
    words = f"Margin of {name}" if margins else name[:1].upper() + name[1:]
    ends = min(d[2]["f"][0] for d in drawn), max(d[2]["f"][-1] for d in drawn)
    inside = [d[2][n] for d in drawn for n in ("worst", "low", "high")]
    low, high = min(float(np.nanmin(v)) for v in inside), max(float(np.nanmax(v)) for v in inside)
    limit = None if margins else drawn[0][1].limit
    if limit is not None and np.isfinite(limit).any():
        low, high = min(low, float(np.nanmin(limit))), max(high, float(np.nanmax(limit)))
    y = (min(low - 0.5, -0.08 * high) if margins else low - 0.04 * (high - low), high + 0.04 * (high - low) + 0.1)
    axes = Axes(Box(68, HEAD + 4, _WIDE - 84, 310), ends, y, LOG)
    if margins:
        axes.hatched(y[0], 0)
    axes.grid(megahertz(*ends), [(t, f"{t:g}") for t in even(*y, 6) if y[0] <= t <= y[1]])
    axes.edges()
    styles = curve_styles(len(drawn))
    keys = [_spread(axes, styles[n], spread, curves) for n, (_, spread, curves) in enumerate(drawn)]
    if margins:
        axes.line(ends, [0, 0], (INK, ""), 1.6)
        axes.parts.append(haloed(axes.box.left + axes.box.wide - 5, axes.bottom - 6, "misses the limit", "end"))
        _tightest(axes, [(styles[n], curves) for n, (_, _, curves) in enumerate(drawn)])
    elif limit is not None and np.isfinite(limit).any():
        axes.line(drawn[0][1].frequencies_mhz, limit, (INK, ""), 1.8)
        keys.append(Key("limit", (INK, ""), 1.8))
    axes.words(axes.box.wide / 2, axes.box.tall + 32, "MHz", anchor="middle")
    up = f"margin, {found.unit}" if margins else found.unit
    middle = figure(axes.box.top + axes.box.tall / 2)
    axes.parts.append(
        f'<g transform="rotate(-90 16 {middle})">{text(16, float(middle), up, anchor="middle", size=9)}</g>'
    )
    columns = 2 if len(keys) > 1 else 1
    below = int(axes.bottom) + 52
    heading = f"{title}: {words}" if title else words
    sheet = Sheet(_WIDE, below + 16 * -(-len(keys) // columns), heading, under, found.about)
    sheet.add(axes)
    sheet.legend(keys, 68, below, columns)
    return sheet


def _tightest(axes: Axes, drawn: Sequence[tuple[tuple[str, str], dict[str, Array]]]) -> None:
    """A mark and its figures at the smallest margin of any link, over all groups."""
    style, curves = min(drawn, key=lambda d: float(np.nanmin(d[1]["worst"])))
    at = int(np.nanargmin(curves["worst"]))
    f, margin = float(curves["f"][at]), float(curves["worst"][at])
    axes.markers([f], [margin], CIRCLE, style[0], "#fff")
    left = float(axes.x(f)) < axes.box.left + 0.7 * axes.box.wide
    x = float(axes.x(f)) + (8 if left else -8)
    axes.parts.append(haloed(x, float(axes.y(margin)) + 3, f"{margin:.2f} dB at {f:g} MHz", "start" if left else "end"))


def _shown(spread: Spread, margins: bool) -> dict[str, Array]:
    """Curves of a spread where there are any: f, worst, low, median, high; worst: of any link at all."""
    names = (
        ("margin_worst", "margin_low", "margin_median", "margin_high")
        if margins
        else ("worst", "low", "median", "high")
    )
    values = [getattr(spread, n) for n in names]
    good = np.flatnonzero(~np.isnan(values[2]))
    made = zip(("worst", "low", "median", "high"), values, strict=True)
    return {"f": spread.frequencies_mhz[good], **{n: v[good] for n, v in made}}


def _columns(curves: dict[str, Array], wide: int) -> tuple[Array, Array, Array]:
    """Frequency, lowest and highest edge of the band in each column of dots, so that nothing between is lost."""
    f = np.log(curves["f"])
    if len(f) <= wide:
        return curves["f"], curves["low"], curves["high"]
    column = np.minimum(((f - f[0]) / (f[-1] - f[0]) * wide).astype(np.int64), wide - 1)
    starts = np.flatnonzero(np.r_[True, np.diff(column) > 0])
    return curves["f"][starts], np.minimum.reduceat(curves["low"], starts), np.maximum.reduceat(curves["high"], starts)


def _spread(axes: Axes, style: tuple[str, str], spread: Spread, curves: dict[str, Array]) -> Key:
    wide = int(axes.box.wide)
    f, low, high = _columns(curves, wide)
    axes.band(f, low, high, style[0])
    axes.line(curves["f"], curves["median"], style, 1.7, wide)
    axes.line(f, low, style, 0.7)
    axes.line(f, high, style, 0.7)
    axes.line(curves["f"], curves["worst"], (style[0], "1 1.5"), 0.8, wide)
    links = counted(spread.records, "link")
    return Key(
        f"{spread.name}, {links}" if spread.fields else f"median of {links}",
        style,
        1.7,
    )
