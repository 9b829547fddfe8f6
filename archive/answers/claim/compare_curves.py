"""The curves of two tests: how far each moved, and both against the limit in one picture."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view

from archive import vocabulary
from archive.answers.claim import failing, left_out
from archive.answers.claim.claim_facts import TestedRecord
from archive.answers.claim.curve_figures import Curves, curves_of, drawn, frequency, line_of, plot_words
from archive.answers.claim.failing import Array, Line
from archive.answers.documents import Figure
from archive.answers.plots import Mark, Panel, PlotCurve, PlotLayout, drawn_twice
from archive.answers.wording import Wording

Moved = dict[str | None, list[PlotCurve]]
Names = tuple[str, str]
"""What the two tests are called."""
STILL_DB = 0.05
"""A change that would print as none."""
_WINDOW = 30
"""A fraction of a curve's points: ripple within so wide a stretch is not a change."""


def differences(old: TestedRecord, new: TestedRecord, *, smoothed: bool = False) -> dict[str, Moved]:
    """Second minus first by parameter and end, at the frequencies that both measured: nothing is interpolated.

    smoothed: between the envelopes on the side of the limit, so that a null that moved a little is no change.
    """
    before, after = curves_of(old.curves or old.batch), curves_of(new.curves or new.batch)
    found: dict[str, Moved] = {}
    for parameter, by_end in before.items():
        maximum = vocabulary.parameter(parameter).sense == "max"
        for end, curves in by_end.items():
            there = {c.label: c for c in after.get(parameter, {}).get(end, [])}
            for c in curves:
                if c.label not in there:
                    continue
                common, i, j = np.intersect1d(c.x, there[c.label].x, return_indices=True)
                one, other = c.y[i], there[c.label].y[j]
                if smoothed:
                    one, other = envelope(one, maximum), envelope(other, maximum)
                change = other - one
                if np.isfinite(change).any():
                    found.setdefault(parameter, {}).setdefault(end, []).append(PlotCurve(c.label, common, change))
    return found


def envelope(y: Array, maximum: bool) -> Array:
    """The worst value within a window around each point, and then the mean within it. NaN where all of it is missing.

    y: shape (n,), NaN where missing; maximum: the worst is the largest.
    """
    half = len(y) // (2 * _WINDOW)
    if half == 0:
        return y
    fill = -np.inf if maximum else np.inf
    windows = sliding_window_view(np.pad(np.where(np.isnan(y), fill, y), half, mode="edge"), 2 * half + 1)
    worst = windows.max(axis=1) if maximum else windows.min(axis=1)
    worst = np.where(np.isfinite(worst), worst, np.nan)
    with np.errstate(invalid="ignore"):
        mean = sliding_window_view(np.pad(worst, half, mode="edge"), 2 * half + 1).mean(axis=1)
    return np.asarray(mean)


def largest(moved: Mapping[str | None, list[PlotCurve]]) -> tuple[float, float, str, str | None] | None:
    """Value, frequency, pairing and end of the largest change."""
    best: tuple[float, float, str, str | None] | None = None
    for end, curves in moved.items():
        for c in curves:
            if not np.isfinite(c.y).any():
                continue
            k = int(np.nanargmax(np.abs(c.y)))
            if best is None or abs(c.y[k]) > abs(best[0]):
                best = (float(c.y[k]), float(c.x[k]), c.label, end)
    return best


def overlays(old: TestedRecord, new: TestedRecord, names: Names, words: Wording) -> list[Figure]:
    """For each parameter with a limit that both have: the worst curve of the second test, that of the same pair of the
    first, and the limit in one panel; the other curves of the second stand behind."""
    limit_id = (old.verdict() or {}).get("limit_id")
    line = line_of(limit_id)
    before, after = curves_of(old.curves or old.batch), curves_of(new.curves or new.batch)
    grades = [g for s in new.stated for g in s.grades if g["limit_id"] == limit_id]
    made = []
    for parameter in drawn(after, line):
        if parameter in before and line(parameter, np.array([100.0])) is not None:
            figure = _overlay(parameter, (before, after), grades, line, names, words)
            made += [figure] if figure is not None else []
    return made


def _coincide(one: PlotCurve, other: PlotCurve) -> bool:
    """Whether two curves differ nowhere by what would print as a change, where both were measured."""
    _, i, j = np.intersect1d(one.x, other.x, return_indices=True)
    change = np.abs(one.y[i] - other.y[j])
    return len(i) > 0 and bool(np.nanmax(change, initial=0.0) < STILL_DB)


def _overlay(
    parameter: str,
    both: tuple[Curves, Curves],
    grades: list[Mapping[str, Any]],
    line: Line,
    names: Names,
    words: Wording,
) -> Figure | None:
    before, after = (c[parameter] for c in both)
    p = vocabulary.parameter(parameter)
    panels = []
    for end in sorted(after, key=lambda e: (e is not None, e or "")):
        first = {c.label: c for c in before.get(end, [])}
        second = {c.label: c for c in after[end] if c.label in first and np.isfinite(c.y).any()}
        rows = [g for g in grades if g["parameter"] == parameter and g["end"] == end and g["kind"] == "worst_margin"]
        rows = [g for g in rows if g["margin"] is not None and (g["pairing"] or parameter) in second]
        if not rows:
            continue
        worst = min(rows, key=lambda g: g["margin"])
        label = worst["pairing"] or parameter
        shown, other = second[label], first[label]
        behind = tuple(c for name, c in second.items() if name != label)
        limit = line(parameter, shown.x)
        if limit is None or np.isnan(limit).all():
            continue
        margin = words("margin {margin} {unit}", margin=words.margin(worst["margin"], p.unit), unit=p.unit)
        text = f"{margin}\n{words.free(worst['frequency_mhz'])} MHz"
        mark = None
        if worst["frequency_mhz"] is not None:
            mark = Mark(worst["frequency_mhz"], worst["value"], text, names[1])
        heading = ", ".join(x for x in (words.end(end), worst["pairing"]) if x) or words.parameter(parameter)
        panels.append(
            Panel(
                heading,
                (replace(shown, label=names[1]), replace(other, label=names[0])),
                PlotCurve(words("limit"), shown.x, limit),
                p.sense,
                mark,
                left_out=left_out.stretch(parameter, end, [shown], grades),
                failing=failing.stretches(parameter, end, [shown], grades, line),
                context=behind,
            )
        )
    if not panels:
        return None
    caption = words(
        "{parameter}: the curve of “{second}” that comes nearest to the limit, and the same pair of “{first}”.",
        parameter=words.parameter(parameter)[:1].upper() + words.parameter(parameter)[1:],
        first=names[0],
        second=names[1],
    )
    if all(_coincide(p.curves[0], p.curves[1]) for p in panels):
        caption += " " + words("They coincide.")
    counted = failing.sentence(parameter, after, grades, line, words)
    caption += f" {counted}" if counted else ""
    svg, narrow = drawn_twice(
        panels,
        title=caption,
        x_labels=frequency(words),
        y_label=words.headed(parameter),
        layout=PlotLayout(
            height=270 if len(panels) == 1 else 430,
            stacked=True,
            words=plot_words(words),
            context=words("{name}, other curves", name=names[1]),
            tick_text=words.free,
        ),
    )
    return Figure(svg, caption, caption, narrow=narrow)
