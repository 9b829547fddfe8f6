"""Pictures of rates: groups in the order of their rates, all groups in a funnel, groups over time.

A group that passes least often is always among what is drawn; a small one never stretches the axis.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import groupby
from typing import Any

import numpy as np

from archive.answers.count_text import percent
from archive.answers.inference.jobs import JobCounts
from archive.answers.inference.ranking import Funnel, funnel
from archive.answers.plots.axes import CIRCLE, MARKERS, SQUARE, Axes
from archive.answers.plots.model import Box
from archive.answers.plots.pen import INK, PAIRS, SOFT, curve_styles, text
from archive.answers.plots.scale import even
from archive.answers.plots.sheet import HEAD, Key, Sheet, left_of, letters
from archive.answers.rates.fields import FIELDS, TIMES
from archive.answers.rates.rates import Rates
from archive.errors import Trouble
from archive.vocabulary.counted import counted

MOST_ROWS, MOST_LINES, MOST_NAMED = 40, 6, 8
_WIDE, _ROW = 820, 40
_DASHED = "5 3"
_INTERVAL = "95 % interval of the rate at which such jobs pass"


def of_rates(found: Rates, title: str = "") -> Sheet:
    """Rates with their intervals: over time where a field is one of time, a funnel of many groups, else a line each."""
    rows = [r for r in found.rows if r["links"] or r["first_links"]]
    if not rows:
        raise Trouble("there is nothing to draw: no link is graded", code="picture.nothing-to-draw")
    time = next((f.name for f in found.fields if f.name in TIMES), None)
    if time and any(r[time] is not None for r in rows):
        return _over_time(found, time, title)
    return _by_group(found, rows, title) if len(rows) <= MOST_ROWS else _funnel(found, rows, title)


def _kinds(found: Rates) -> list[tuple[str, str]]:
    """The rates that are drawn, and their names: first and final, or one where no link was tested again."""
    same = all(r["rate"] == r["first_time_rate"] and r["links"] == r["first_links"] for r in found.rows)
    return [("", "final")] if same else [("first_time_", "at the first test"), ("", "final")]


def _links(kind: str) -> str:
    return "first_links" if kind else "links"


def _by_group(found: Rates, rows: list[dict[str, Any]], title: str) -> Sheet:
    kinds = _kinds(found)
    main = kinds[0][0]
    rows = sorted(rows, key=lambda r: (r[f"{main}rate"] is None, r[f"{main}rate"]))
    names = [found.name(r) for r in rows]
    beside = [_beside(r, main) for r in rows]
    left, right = left_of(names), 14 + max(letters(b, 9) for b in beside)
    box = Box(left, HEAD + 28, _WIDE - left - right, _ROW * len(rows))
    ends = _shares(_lowest(rows, [k for k, _ in kinds]))
    axes = Axes(box, ends, (len(rows) - 0.5, -0.5))
    axes.grid(_percent(ends), list(enumerate(names)), "x")
    axes.edges()
    looks = {"": (PAIRS[0][0], CIRCLE, True), "first_time_": (PAIRS[1][0], SQUARE, False)}
    for n, (kind, _) in enumerate(kinds):
        colour, shape, filled = looks[kind]
        overall = found.total[f"{kind}rate"]
        if overall is not None and overall >= ends[0]:
            axes.line([overall, overall], [-0.5, len(rows) - 0.5], (colour, _DASHED), 0.9)
        shift = 0.0 if len(kinds) == 1 else (-0.14, 0.14)[n]
        for i, row in enumerate(rows):
            _one_group(axes, row, kind, i + shift, ends[0], (colour, shape, filled))
    for i, words in enumerate(beside):
        axes.words(box.wide + 8, _ROW * (i + 0.5) + 3, words)
    axes.words(box.wide / 2, box.tall + 34, f"share of links that pass, with the {_INTERVAL}", anchor="middle")
    sheet = Sheet(_WIDE, int(axes.bottom) + 44, title or "Pass rates", _of(found), found.about)
    keys = [
        Key(words, (looks[k][0], ""), 1.5, (looks[k][1], looks[k][0], looks[k][0] if looks[k][2] else "#fff"))
        for k, words in kinds
    ]
    sheet.legend([*keys, Key("all groups together", (SOFT, _DASHED), 0.9)], box.left, HEAD + 8, 3)
    sheet.add(axes)
    return sheet


def _beside(row: dict[str, Any], kind: str) -> str:
    jobs = row["first_jobs" if kind else "jobs"]
    small = ", small" if row["small"] else ""
    return f"{counted(row[_links(kind)], 'link')}, {counted(jobs, 'job')}{small}"


def _one_group(axes: Axes, row: dict[str, Any], kind: str, at: float, left: float, look: tuple[str, str, bool]) -> None:
    """Interval and rate; what lies left of the axis is written at its edge."""
    rate = row[f"{kind}rate"]
    if rate is None:
        return
    colour, shape, filled = look
    axes.line([max(left, row[f"{kind}low"]), max(left, row[f"{kind}high"])], [at, at], (colour, ""), 1.5)
    if rate < left:
        down = float(axes.y(at)) - axes.box.top + 3
        axes.words(3, down, f"< {percent(rate)} of {row[_links(kind)]:,}", colour=colour)
    else:
        axes.markers([rate], [at], shape, colour, colour if filled else "#fff")


def _lowest(rows: Sequence[dict[str, Any]], kinds: Sequence[str]) -> float:
    """The lowest end of an interval among the groups that are not small, or among all where all are."""
    for some in ([r for r in rows if not r["small"]], rows):
        lows = [r[f"{k}low"] for r in some for k in kinds if r[f"{k}rate"] is not None]
        if lows:
            return float(min(lows))
    return 0.0


def _shares(low: float) -> tuple[float, float]:
    """The ends of an axis of shares: from a little below the lowest interval to a little above one."""
    low = max(0.0, low - 0.06 * (1 - low) - 0.002)
    return low, 1 + 0.015 * (1 - low)


def _percent(ends: tuple[float, float]) -> list[tuple[float, str]]:
    return [(t, f"{100 * t:.6g} %") for t in even(*ends, 6) if ends[0] <= t <= 1]


def _funnel(found: Rates, rows: list[dict[str, Any]], title: str) -> Sheet:
    """All groups by effective links and rate, with the limits within which like groups lie."""
    kind = _kinds(found)[0][0]
    made = _funnel_of(found, kind)
    some = [(n, r, row) for n, r, row in zip(made.number, made.rate, found.rows, strict=True) if n > 0]
    number = np.array([s[0] for s in some])
    rate = np.array([s[1] for s in some])
    ends = _shares(float(min(rate.min(), made.limits(np.quantile(number, 0.25), 0.95)[0])))
    across = (float(number.min()) * 0.9, float(number.max()) * 1.15)
    axes = Axes(Box(68, HEAD + 22, _WIDE - 84, 380), across, ends, "log")
    axes.grid([(t, f"{t:g}") for t in _round(*across)], _percent(ends))
    axes.edges()
    grid = np.geomspace(*across, 80)
    for share, wider, style in ((0.95, False, "4 3"), (0.998, False, ""), (0.998, True, "1.5 2.5")):
        for edge in made.limits(grid, share, wider=wider):
            axes.line(grid, np.clip(edge, ends[0], 1), (SOFT, style), 1.0)
    axes.line(across, [made.centre] * 2, (INK, _DASHED), 0.9)
    axes.markers(number, rate, CIRCLE, PAIRS[0][0], "#fff")
    low, high = made.limits(number, 0.998)
    outside = np.maximum(low - rate, rate - high)
    named = [*np.argsort(rate, kind="stable")[:MOST_NAMED].tolist(), *np.flatnonzero(outside > 0).tolist()[:MOST_NAMED]]
    _named(axes, [(number[i], rate[i], found.name(some[i][2])) for i in dict.fromkeys(named)])
    axes.words(axes.box.wide / 2, axes.box.tall + 32, "links, as many as independent ones would tell", anchor="middle")
    words = f"{counted(len(some), 'group')}; {int((outside > 0).sum())} outside of 99.8 %"
    axes.words(axes.box.wide, -8, words, anchor="end")
    sheet = Sheet(_WIDE, int(axes.bottom) + 66, title or "Pass rates", _of(found), found.about)
    sheet.add(axes)
    keys = [
        Key("95 % of like groups", (SOFT, "4 3"), 1.0),
        Key("99.8 %", (SOFT, ""), 1.0),
        Key("99.8 %, as groups here differ", (SOFT, "1.5 2.5"), 1.0),
    ]
    sheet.legend(keys, 68, axes.bottom + 50, 3)
    return sheet


def _named(axes: Axes, points: Sequence[tuple[float, float, str]]) -> None:
    """Names beside points, moved down where they would cover each other."""
    last = -99.0
    for n, rate, words in sorted(points, key=lambda p: -p[1]):
        down = max(last + 10, float(axes.y(rate)) - axes.box.top + 3)
        axes.words(float(axes.x(n)) - axes.box.left + 8, down, words)
        last = down


def _funnel_of(found: Rates, kind: str) -> Funnel:
    jobs: JobCounts | None = found.first_jobs if kind else found.final_jobs
    assert jobs is not None
    return funnel(jobs)


def _round(low: float, high: float) -> list[float]:
    found = [d * 10.0**p for p in range(8) for d in (1, 2, 5) if low <= d * 10.0**p <= high]
    return found if len(found) > 1 else [t for t in even(low, high, 5) if low <= t <= high]


def _over_time(found: Rates, time: str, title: str) -> Sheet:
    others = [f for f in found.fields if f.name != time]
    times = _times(time, {r[time] for r in found.rows if r[time] is not None})
    lines: dict[tuple[Any, ...], list[tuple[int, dict[str, Any]]]] = {}
    for row in found.rows:
        if row[time] is not None:
            lines.setdefault(tuple(row[f.name] for f in others), []).append((times.index(row[time]), row))
    kinds = _kinds(found)
    kept = _chosen_lines(lines, kinds[0][0])
    names = [", ".join("unknown" if v is None else str(v) for v in key) or "all links" for key in kept]
    columns = max(1, min(len(kept), int((_WIDE - 80) / (58 + max(letters(n, 9) for n in names)))))
    legend = -(-len(kept) // columns) if others else 0
    sheet = Sheet(_WIDE, 314 + 222 * (len(kinds) - 1) + 16 * legend, title or "Pass rates", _of(found), found.about)
    shown = [r for k in kept for _, r in lines[k]]
    ends = _shares(_lowest(shown, [k for k, _ in kinds]))  # one scale for both, so that they can be compared
    labels = _labels(times, shown, time, kinds[0][0])
    for part, (kind, words) in enumerate(kinds):
        axes = Axes(Box(68, HEAD + 22 + 222 * part, _WIDE - 84, 180), (-0.5, len(times) - 0.5), ends)
        axes.grid(labels if part == len(kinds) - 1 else (), _percent(ends), "y")
        axes.edges()
        axes.parts.append(text(68, axes.box.top - 8, f"Share of links that pass, {words}", size=10, bold=True))
        overall = found.total[f"{kind}rate"]
        if overall is not None:
            axes.line([-0.5, len(times) - 0.5], [overall, overall], (SOFT, _DASHED), 0.9)
        for n, key in enumerate(kept):
            given = [(i, r) for i, r in sorted(lines[key], key=lambda p: p[0]) if r[f"{kind}rate"] is not None]
            _one_line(axes, n, given, len(kept), kind)
        if len(kept) == 1 and len(times) <= 28:
            for i, r in lines[kept[0]]:
                axes.words(float(axes.x(i)) - axes.box.left, axes.box.tall - 4, f"{r[_links(kind)]}", anchor="middle")
        if part == 0 and len(lines) > len(kept):
            axes.words(axes.box.wide, -8, f"{len(kept)} of {len(lines)} groups: worst and largest", anchor="end")
        sheet.add(axes)
    under = axes.bottom + 32
    said = f"vertical lines: {_INTERVAL}; dashed: all together; no line where nothing was tested"
    if len(kept) == 1 and len(times) <= 28:
        said += "; figures: links"
    sheet.parts.append(text(_WIDE / 2, under, said, anchor="middle", size=9))
    if others:
        styles = curve_styles(len(kept))
        keys = [Key(name, styles[n], 1.3, (MARKERS[n], styles[n][0], "#fff")) for n, name in enumerate(names)]
        sheet.legend(keys, 68, under + 18, columns)
    return sheet


def _chosen_lines(lines: dict[Any, list[tuple[int, dict[str, Any]]]], kind: str) -> list[Any]:
    """The groups that are drawn over time: half of them those that pass least often, the others the largest."""
    size = {k: sum(r[_links(kind)] for _, r in line) for k, line in lines.items()}
    passed = {k: sum(r["first_passed" if kind else "passed"] for _, r in line) for k, line in lines.items()}
    known = [k for k in lines if size[k]] or list(lines)
    worst = sorted(known, key=lambda k: passed[k] / size[k] if size[k] else 1.0)[: MOST_LINES // 2]
    largest = [k for k in sorted(known, key=lambda k: -size[k]) if k not in worst]
    chosen = {*worst, *largest[: MOST_LINES - len(worst)]}
    return [k for k in lines if k in chosen]


def _labels(times: Sequence[Any], rows: Sequence[dict[str, Any]], time: str, kind: str) -> list[tuple[float, str]]:
    """Periods that are named: at even steps, and the worst of all in any case."""
    step = max(1, -(-len(times) // (14 if time == "year" else 8)))
    known = [r for r in rows if r[f"{kind}rate"] is not None]
    worst = times.index(min(known, key=lambda r: r[f"{kind}rate"])[time]) if known else 0
    places = [i for i in range(0, len(times), step) if abs(i - worst) >= max(1, step // 2 + 1) or i == worst]
    return [(i, str(times[i])) for i in sorted({*places, worst})]


def _aside(n: int, count: int) -> float:
    """How far a line is moved across, so that its intervals do not cover those of the others."""
    return (n - (count - 1) / 2) * min(0.12, 0.6 / count)


def _one_line(axes: Axes, n: int, given: Sequence[tuple[int, dict[str, Any]]], count: int, kind: str) -> None:
    style, aside = curve_styles(count)[n], _aside(n, count)
    for i, r in given:
        axes.line([i + aside] * 2, [r[f"{kind}low"], r[f"{kind}high"]], (style[0], ""), 1.1)
    for _, run in groupby(enumerate(given), key=lambda p: p[1][0] - p[0]):  # periods that follow each other
        some = [p[1] for p in run]
        axes.line([i + aside for i, _ in some], [r[f"{kind}rate"] for _, r in some], style, 1.3)
    axes.markers([i + aside for i, _ in given], [r[f"{kind}rate"] for _, r in given], MARKERS[n], style[0], "#fff")


def _times(time: str, there: set[Any]) -> list[Any]:
    """Every year, quarter or month from the first to the last."""
    field = FIELDS[time]
    numbers = [field.parse(str(t)) for t in there]
    return [field.shown(n) for n in range(min(numbers), max(numbers) + 1)]


def _of(found: Rates) -> str:
    t = found.total
    if not t["tests"]:  # by parameter there is no total
        return counted(max(r["links"] for r in found.rows), "link")
    words = [f"{counted(t['links'], 'link')} of {counted(t['jobs'], 'job')}, {counted(t['tests'], 'test')}"]
    if t["not_graded"]:
        words.append(f"{counted(t['not_graded'], 'link')} not graded, in no rate")
    if t["by_instrument"]:
        words.append(f"{t['by_instrument']:,} by the instrument's verdict alone")
    return "; ".join(words)
