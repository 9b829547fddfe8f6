"""Pictures of rates, of what failed and of margins: for a report, for readers who do not see red from green, in grey.

Series differ by colour, by dash and by marker.
"""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np

from archive import vocabulary
from archive.answers.plots.axes import CIRCLE, MARKERS, SQUARE, Axes
from archive.answers.plots.model import Box
from archive.answers.plots.pen import INK, STYLES, figure, haloed, text
from archive.answers.plots.scale import LOG, Array, even, megahertz
from archive.answers.plots.sheet import HEAD, Key, Sheet, checked_form, left_of, letters, save_sheet
from archive.answers.rates.distributions import Distribution, Spread
from archive.answers.rates.fields import FIELDS, TIMES
from archive.answers.rates.pareto import Failed
from archive.answers.rates.rates import Rates
from archive.errors import Trouble

MOST_ROWS, MOST_LINES, MOST_BARS = 40, 6, 20
_WIDE, _ROW = 820, 40
_POINTS = 200


def save(what: Rates | Failed | Distribution, out: Path, title: str = "") -> None:
    """Draws into a file whose ending says what it is: .svg, .png or .pdf; written aside, then renamed.

    title: said above, such as the name of the archive. Errors: Trouble for another ending, or nothing to draw.
    """
    checked_form(out)
    if isinstance(what, Rates):
        sheet = of_rates(what, title)
    elif isinstance(what, Failed):
        sheet = of_failed(what, title)
    else:
        sheet = of_distribution(what, title)
    save_sheet(sheet, out)


def of_rates(found: Rates, title: str = "") -> Sheet:
    """Rates with their intervals: over time where a field is one of time, else one line per group."""
    if not any(r["links"] or r["first_links"] for r in found.rows):
        raise Trouble("there is nothing to draw: no link is graded", code="picture.nothing-to-draw")
    time = next((f.name for f in found.fields if f.name in TIMES), None)
    if time and all(r[time] is None for r in found.rows):
        time = None
    return _over_time(found, time, title) if time else _by_group(found, title)


def _by_group(found: Rates, title: str) -> Sheet:
    rows = [r for r in found.rows if r["links"] or r["first_links"]]
    count = len(rows)
    if count > MOST_ROWS:
        largest = sorted(rows, key=lambda r: -r["links"])[:MOST_ROWS]
        rows = [r for r in rows if any(r is x for x in largest)]
    names = [found.name(r) for r in rows]
    beside = [f"{r['links']:,} links" + (", small" if r["small"] else "") for r in rows]
    left, right = left_of(names), 14 + max(letters(b, 9) for b in beside)
    box = Box(left, HEAD + 28, _WIDE - left - right, _ROW * len(rows))
    low = min(r[f"{kind}low"] for r in rows for kind in ("", "first_time_") if r[f"{kind}rate"] is not None)
    axes = Axes(box, _shares(low), (len(rows) - 0.5, -0.5))
    axes.grid(_percent(_shares(low)), list(enumerate(names)), "x")
    axes.edges()
    for shift, kind, shape, filled in ((-0.14, "", CIRCLE, True), (0.14, "first_time_", SQUARE, False)):
        style = (STYLES[0 if filled else 1][0], "")
        for i, row in enumerate(rows):
            if row[f"{kind}rate"] is not None:
                axes.line([row[f"{kind}low"], row[f"{kind}high"]], [i + shift] * 2, style, 1.5)
                axes.markers([row[f"{kind}rate"]], [i + shift], shape, style[0], style[0] if filled else "#fff")
    for i, words in enumerate(beside):
        axes.words(box.wide + 8, _ROW * (i + 0.5) + 3, words)
    axes.words(box.wide / 2, box.tall + 34, "share of links that pass, with Wilson's 95 % interval", anchor="middle")
    if count > len(rows):
        axes.words(box.wide, -8, f"the {MOST_ROWS} largest of {count} groups", anchor="end")
    sheet = Sheet(_WIDE, int(axes.bottom) + 44, title or "Pass rates", _of(found))
    blue, orange = STYLES[0][0], STYLES[1][0]
    keys = [
        Key("final", (blue, ""), 1.5, (CIRCLE, blue, blue)),
        Key("at the first test", (orange, ""), 1.5, (SQUARE, orange, "#fff")),
    ]
    sheet.legend(keys, box.left, HEAD + 6, 2)
    sheet.add(axes)
    return sheet


def _shares(low: float) -> tuple[float, float]:
    """The ends of an axis of shares: from a little below the lowest interval to a little above one."""
    low = max(0.0, low - 0.06 * (1 - low) - 0.002)
    return low, 1 + 0.015 * (1 - low)


def _percent(ends: tuple[float, float]) -> list[tuple[float, str]]:
    return [(t, f"{100 * t:.6g} %") for t in even(*ends, 6) if ends[0] <= t <= 1]


def _over_time(found: Rates, time: str, title: str) -> Sheet:
    others = [f for f in found.fields if f.name != time]
    times = _times(time, {r[time] for r in found.rows if r[time] is not None})
    lines: dict[tuple[Any, ...], list[tuple[int, dict[str, Any]]]] = {}
    for row in found.rows:
        if row[time] is not None:
            lines.setdefault(tuple(row[f.name] for f in others), []).append((times.index(row[time]), row))
    weight = {key: sum(r["links"] for _, r in line) for key, line in lines.items()}
    largest = sorted(lines, key=lambda k: -weight[k])[:MOST_LINES]
    kept = [k for k in lines if k in largest]
    names = [", ".join("unknown" if v is None else str(v) for v in key) or "all links" for key in kept]
    columns = max(1, min(len(kept), int((_WIDE - 80) / (58 + max(letters(n, 9) for n in names)))))
    rows = -(-len(kept) // columns) if others else 0
    sheet = Sheet(_WIDE, 536 + 16 * rows, title or "Pass rates", _of(found))
    step = max(1, -(-len(times) // (14 if time == "year" else 8)))
    labels = [(i, str(times[i])) for i in range(0, len(times), step)]
    for part, (kind, words) in enumerate((("first_time_", "at the first test"), ("", "final"))):
        given = [
            [(i, r) for i, r in sorted(lines[k], key=lambda p: p[0]) if r[f"{kind}rate"] is not None] for k in kept
        ]
        low = min((r[f"{kind}low"] for line in given for _, r in line), default=0.0)
        ends = _shares(low)
        axes = Axes(Box(68, HEAD + 22 + 222 * part, _WIDE - 84, 180), (-0.5, len(times) - 0.5), ends)
        axes.grid(labels if part else (), _percent(ends), "y")
        axes.edges()
        axes.parts.append(text(68, axes.box.top - 8, f"Share of links that pass, {words}", size=10, bold=True))
        for n, line in enumerate(given):
            _one_line(axes, n, np.array([i for i, _ in line]) + _aside(n, len(kept)), [r for _, r in line], kind)
        if part == 0 and len(lines) > len(kept):
            axes.words(axes.box.wide, -8, f"the {len(kept)} largest of {len(lines)} groups", anchor="end")
        sheet.add(axes)
    under = axes.bottom + 32
    sheet.parts.append(text(_WIDE / 2, under, "vertical lines: Wilson's 95 % interval", anchor="middle", size=9))
    if others:
        keys = [Key(name, STYLES[n], 1.3, (MARKERS[n], STYLES[n][0], "#fff")) for n, name in enumerate(names)]
        sheet.legend(keys, 68, under + 18, columns)
    return sheet


def _aside(n: int, count: int) -> float:
    """How far a line is moved across, so that its intervals do not cover those of the others."""
    return (n - (count - 1) / 2) * min(0.12, 0.6 / count)


def _one_line(axes: Axes, n: int, at: Array, rows: Sequence[dict[str, Any]], kind: str) -> None:
    style = STYLES[n]
    for x, r in zip(at.tolist(), rows, strict=True):
        axes.line([x, x], [r[f"{kind}low"], r[f"{kind}high"]], (style[0], ""), 1.1)
    if rows:
        rates = [r[f"{kind}rate"] for r in rows]
        axes.line(at, rates, style, 1.3)
        axes.markers(at, rates, MARKERS[n], style[0], "#fff")


def _times(time: str, there: set[Any]) -> list[Any]:
    """Every year, quarter or month from the first to the last."""
    field = FIELDS[time]
    numbers = [field.parse(str(t)) for t in there]
    return [field.shown(n) for n in range(min(numbers), max(numbers) + 1)]


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
        axes.bar(row["links"], i, 9, STYLES[0][0])
        words = f"{_many(row['links'], 'link')}, {100 * row['share_of_links']:.0f} %; "
        axes.words(
            float(axes.x(row["links"])) - left + 8, 32 * (i + 0.5) + 3, words + _many(row["failures"], "failure")
        )
    axes.words(axes.box.wide / 2, axes.box.tall + 32, "failing links", anchor="middle")
    if len(found.rows) > len(rows):
        axes.words(axes.box.wide, -5, f"the first {len(rows)} of {len(found.rows)}", anchor="end")
    under = f"{found.links:,} links with {found.failures:,} failures; one link may fail in several ways"
    sheet = Sheet(_WIDE, int(axes.bottom) + 42, title or "What failed", under)
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
    """Margins over frequency where there is a limit, else values: the median, and the band from 5 to 95 %."""
    margins = found.limit is not None
    drawn = [(n, s, *_thinned(s, margins)) for n, s in enumerate(found.spreads)]
    drawn = [d for d in drawn if len(d[2])]
    if not drawn:
        raise Trouble(
            "there is nothing to draw: no chosen record has curves of this parameter", code="picture.nothing-to-draw"
        )
    name = vocabulary.parameter(found.parameter).name
    what = "each pair or combination" if found.of == "curves" else "the worst of each link"
    under = f"{what}; the band holds 5 to 95 % of them" + (f"; margin against {found.limit}" if margins else "")
    words = f"Margin of {name}" if margins else name[:1].upper() + name[1:]
    ends = min(d[2][0] for d in drawn), max(d[2][-1] for d in drawn)
    low, high = min(float(d[3].min()) for d in drawn), max(float(d[5].max()) for d in drawn)
    limit = None if margins else drawn[0][1].limit
    if limit is not None and np.isfinite(limit).any():
        low, high = min(low, float(np.nanmin(limit))), max(high, float(np.nanmax(limit)))
    y = (min(low - 0.5, -0.08 * high) if margins else low - 0.04 * (high - low), high + 0.04 * (high - low) + 0.1)
    axes = Axes(Box(68, HEAD + 4, _WIDE - 84, 310), ends, y, LOG)
    if margins:
        axes.hatched(y[0], 0)
    axes.grid(megahertz(*ends), [(t, f"{t:g}") for t in even(*y, 6) if y[0] <= t <= y[1]])
    axes.edges()
    keys = [_spread(axes, STYLES[n], d) for n, *d in drawn]
    if margins:
        axes.line(ends, [0, 0], (INK, ""), 1.6)
        axes.parts.append(haloed(axes.box.left + axes.box.wide - 5, axes.bottom - 6, "misses the limit", "end"))
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
    sheet = Sheet(_WIDE, below + 16 * -(-len(keys) // columns), f"{title}: {words}" if title else words, under)
    sheet.add(axes)
    sheet.legend(keys, 68, below, columns)
    return sheet


def _thinned(spread: Spread, margins: bool) -> tuple[Array, Array, Array, Array]:
    """Frequencies, low, median and high of a spread at points enough for a picture."""
    low, median, high = (
        (spread.margin_low, spread.margin_median, spread.margin_high)
        if margins
        else (spread.low, spread.median, spread.high)
    )
    good = np.flatnonzero(~np.isnan(median))
    f = spread.frequencies_mhz[good]
    if len(f) > _POINTS:
        wanted = np.geomspace(f[0], f[-1], _POINTS)
        good = good[np.unique(np.searchsorted(f, wanted * (1 - 1e-9)).clip(0, len(f) - 1))]
    return spread.frequencies_mhz[good], low[good], median[good], high[good]


def _spread(axes: Axes, style: tuple[str, str], drawn: Sequence[Any]) -> Key:
    spread, f, low, median, high = drawn
    axes.band(f, low, high, style[0])
    axes.line(f, median, style, 1.7)
    for edge in (low, high):
        axes.line(f, edge, style, 0.7)
    return Key(
        f"{spread.name}, {spread.records:,} links" if spread.fields else f"median of {spread.records:,} links",
        style,
        1.7,
    )


def _of(found: Rates) -> str:
    t = found.total
    words = [f"{t['links']:,} links, {t['tests']:,} tests"]
    if t["not_graded"]:
        words.append(f"{t['not_graded']:,} links not graded are in no rate")
    if t["by_instrument"]:
        words.append(f"{t['by_instrument']:,} by the instrument's verdict alone")
    return "; ".join(words)
