"""Pictures of a record: one per parameter, all pairs, both ends, against a limit."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from typing import Any

import numpy as np

from archive import limits, vocabulary
from archive.answers.claim import failing, left_out
from archive.answers.claim.failing import Array, Line
from archive.answers.documents import Figure
from archive.answers.plots import LINEAR, ROOT, Event, Mark, Panel, PlotCurve, PlotLayout, drawn_twice, plot
from archive.answers.wording import Wording
from archive.tables import Batch

Curves = Mapping[str, Mapping[str | None, list[PlotCurve]]]

ByEnd = Mapping[str | None, Sequence[PlotCurve]]
_UNNAMED = ("", "", "", "")
_TOGETHER = 6
_NEAR_DB = 3.0
"""Margin below which a picture about zero is drawn: of whole values a tenth of a decibel cannot be seen."""
_RANK = {"measured": 0, "rebuilt": 1, "derived": 2}
_DERIVED_FROM = {"fext": ("acr_f", "elfext"), "ps_fext": ("ps_acr_f", "ps_elfext")}
"""Raw parameters that need no picture where one that is made of them and has a limit is drawn."""
_SAME = (("elfext", "acr_f"), ("ps_elfext", "ps_acr_f"))


def line_of(limit_id: str | None) -> Line:
    """The limit line to draw for a limit id; none where the limit is not known or has no such line."""
    known = limits.get(limit_id) if limit_id and limit_id in limits.ids() else None

    def line(parameter: str, frequencies: Array) -> Array | None:
        if known is None or parameter not in known.lines:
            return None
        return np.asarray(known.lines[parameter].at(frequencies), dtype=float)

    return line


def curves_of(batch: Batch) -> Curves:
    """Measured and derived curves by parameter and end, pairings in their order.

    A derived curve stands only where the same was not measured; alien crosstalk of a single disturber is left out.
    """
    curves = batch.curves
    usable = np.flatnonzero(curves.mask("origin", *_RANK) & curves.fits & (curves.words("disturber") == ""))
    rank = [_RANK[origin] for origin in curves.words("origin", usable)]
    names = batch["sweeps"].select(["parameter", "end", "pairing", "wavelength_nm", "direction"]).take(usable)
    chosen: dict[tuple[str, str | None, str], int] = {}
    for k, h in enumerate(names.to_pylist()):
        key = (h["parameter"], h["end"], _label(h))
        if key not in chosen or rank[k] < rank[chosen[key]]:
            chosen[key] = k
    found: dict[str, dict[str | None, list[PlotCurve]]] = {}
    for (parameter, end, label), k in sorted(chosen.items(), key=lambda item: item[0][2]):
        curve = PlotCurve(label, curves.axes[curves.axis[usable[k]]], curves.values(usable[k]))
        found.setdefault(parameter, {}).setdefault(end, []).append(curve)
    return {p: found[p] for p in vocabulary.parameters() if p in found}


def _label(h: Mapping[str, Any]) -> str:
    """What distinguishes a curve from the others of its parameter and end."""
    wave = f"{h['wavelength_nm']:g} nm" if h["wavelength_nm"] else ""
    way = {"local-remote": "→", "remote-local": "←"}.get(h["direction"] or "", "") if wave else ""
    return " ".join(x for x in (h["pairing"] or "", wave, way) if x) or str(h["parameter"])


def drawn(curves: Curves, line: Line) -> list[str]:
    """Parameters that get a picture: those with a limit line, and measured ones that no such parameter is made of."""
    limited = {p for p, by_end in curves.items() if _limit(p, by_end, line) is not None}
    skipped = {old for old, new in _SAME if old not in limited} if limited else set()
    for raw, made in _DERIVED_FROM.items():
        if raw not in limited and any(m in limited for m in made):
            skipped.add(raw)
    if limited:
        skipped |= {p for p in ("acr_n", "ps_acr_n", "ps_fext", "acr_f", "ps_acr_f", "ps_next") if p not in limited}
    return [p for p in curves if p not in skipped]


def _limit(parameter: str, by_end: ByEnd, line: Line) -> PlotCurve | None:
    """The limit over the frequencies of the curves; none for a trace."""
    if parameter == "backscatter":
        return None
    f = max((c.x for curves in by_end.values() for c in curves), key=len)
    values = line(parameter, f)
    return None if values is None or np.isnan(values).all() else PlotCurve("", f, values)


def figures(
    batch: Batch,
    grades: Sequence[Mapping[str, Any]],
    line: Line,
    words: Wording,
    *,
    only: Sequence[str] = (),
    compact: bool = False,
) -> list[Figure]:
    """One figure per parameter that is to be drawn, or of those in `only`.

    batch: one record, with derived curves where those are wanted. grades: rows of grades under the limit that `line`
    draws. compact: for half the width of a page.
    """
    curves = curves_of(batch)
    events = batch["trace_events"].to_pylist()
    made = []
    for parameter in only or drawn(curves, line):
        by_end = {
            end: kept
            for end, listed in curves.get(parameter, {}).items()
            if (kept := [c for c in listed if np.isfinite(c.y).any()])
        }
        for part in _parts(by_end, compact):
            made.append(_figure(parameter, part, grades, line, words, events, compact))
        if by_end and not compact:
            close = _close(parameter, by_end, grades, line)
            made += [_about_zero(parameter, close, grades, line, words)] if close else []
    return made


def _parts(by_end: ByEnd, compact: bool) -> Iterator[ByEnd]:
    """The curves of a parameter as they are drawn together: at most six on a page of their own."""
    labels = list(dict.fromkeys(c.label for curves in by_end.values() for c in curves))
    together = len(labels) if compact or len(labels) <= _TOGETHER else -(-len(labels) // 2)
    for k in range(0, len(labels), max(1, together)):
        some = labels[k : k + together]
        part = {end: [c for c in curves if c.label in some] for end, curves in by_end.items()}
        yield {end: curves for end, curves in part.items() if curves}


def _figure(
    parameter: str,
    by_end: ByEnd,
    grades: Sequence[Mapping[str, Any]],
    line: Line,
    words: Wording,
    events: Sequence[Mapping[str, Any]],
    compact: bool,
) -> Figure:
    limit = _limit(parameter, by_end, line)
    trace = parameter == "backscatter"
    ends = sorted(by_end, key=lambda e: (e is not None, e or ""))
    labels = {c.label for curves in by_end.values() for c in curves}
    mine = [g for g in grades if g["pairing"] is None or g["pairing"] in labels]
    panels = [
        replace(
            _panel(parameter, end, by_end[end], mine, limit, words, events if trace else ()),
            failing=() if limit is None else failing.stretches(parameter, end, by_end[end], mine, line),
        )
        for end in ends
    ]
    if compact:  # the caption says where it is; words would lie over curves
        panels = [replace(p, mark=p.mark and replace(p.mark, text="")) for p in panels]
    worst = _worst(parameter, mine) if limit is not None else None
    several = len(labels) < len({g["pairing"] for g in grades if g["parameter"] == parameter and g["pairing"]})
    title = _titled(parameter, words)
    if several:
        title = words("{parameter}, {first} to {last}", parameter=title, first=min(labels), last=max(labels))
    caption = title + ". " + _caption(worst, limit is not None, parameter, words)
    told = [failing.sentence(parameter, by_end, mine, line, words), left_out.sentence(parameter, mine, words)]
    caption += "".join(f" {text}" for text in told if text and limit is not None)
    layout = PlotLayout(
        width=330 if compact else 680,
        height=_height(len(panels), compact),
        scale=LINEAR if trace else ROOT,
        stacked=True,
        detail=0.75,
        words=_UNNAMED if compact else plot_words(words),
        tick_text=words.free,
    )
    across = (words("distance, km"),) * 2 if trace else frequency(words)
    name = words.headed(parameter)
    if compact:
        return Figure(plot(panels, title=caption, x_label=across[1], y_label=name, layout=layout), caption, caption)
    svg, narrow = drawn_twice(panels, title=caption, x_labels=across, y_label=name, layout=layout)
    return Figure(svg, caption, caption, narrow=narrow)


def _height(panels: int, compact: bool) -> int:
    """Height of a picture in dots."""
    if compact:
        return 200 if panels == 1 else 282
    return 300 if panels == 1 else 440


def _titled(parameter: str, words: Wording) -> str:
    name = words.parameter(parameter)
    return name[:1].upper() + name[1:]


def frequency(words: Wording) -> tuple[str, str]:
    """What the axis of frequency is called across a page, and where there is less room."""
    return words("frequency, MHz (even steps of its square root)"), words("frequency, MHz")


def plot_words(words: Wording) -> tuple[str, str, str, str]:
    """How the legend of a picture calls what it shows besides curves."""
    return words("margin"), words("fails"), words("limit, for information"), words("failing stretch")


def _close(parameter: str, by_end: ByEnd, grades: Sequence[Mapping[str, Any]], line: Line) -> ByEnd:
    """Curves that come nearer to their limit than a picture of whole values shows, by the margins that were graded."""
    maximum = vocabulary.parameter(parameter).sense == "max"
    near = {
        (g["pairing"] or parameter, g["end"])
        for g in grades
        if g["parameter"] == parameter
        and g["kind"] == "worst_margin"
        and g["margin"] is not None
        and g["margin"] < _NEAR_DB
        and not (maximum and (g["limit"] or 0.0) <= _NEAR_DB)  # so low a limit leaves no more to any link
    }
    drawn_here = _limit(parameter, by_end, line) is not None
    kept = {end: [c for c in curves if (c.label, end) in near] for end, curves in by_end.items()}
    return {end: curves for end, curves in kept.items() if curves} if drawn_here else {}


def _about_zero(
    parameter: str, close: ByEnd, grades: Sequence[Mapping[str, Any]], line: Line, words: Wording
) -> Figure:
    """The margins of curves near their limit, about zero."""
    panels, lowest = [], -1.0
    for end in sorted(close, key=lambda e: (e is not None, e or "")):
        curves = tuple(PlotCurve(c.label, c.x, failing.margins(parameter, c, line)) for c in close[end])
        worst = _worst(parameter, [g for g in grades if g["end"] == end])
        lowest = min(lowest, *(float(np.nanmin(c.y)) for c in curves if np.isfinite(c.y).any()))
        mark = None
        if worst is not None and worst["frequency_mhz"] is not None:
            unit = vocabulary.parameter(parameter).unit
            text = words("margin {margin} {unit}", margin=words.margin(worst["margin"], unit), unit=unit)
            mark = Mark(worst["frequency_mhz"], worst["margin"], text, worst["pairing"] or "")
        zero = PlotCurve(words("limit"), curves[0].x, np.where(np.isfinite(curves[0].y), 0.0, np.nan))
        free = left_out.stretch(parameter, end, close[end], grades)
        bad = failing.stretches(parameter, end, close[end], grades, line)
        heading = words.end(end) or words.parameter(parameter)
        panels.append(Panel(heading, curves, zero, "min", mark, (), free, bad))
    caption = words(
        "{parameter}: margin to the limit about zero, of the curves that come nearer to it than {near} dB.",
        parameter=_titled(parameter, words),
        near=words.number(_NEAR_DB, 0),
    )
    svg, narrow = drawn_twice(
        panels,
        title=caption,
        x_labels=frequency(words),
        y_label=words("margin, dB"),
        layout=PlotLayout(
            height=230 if len(panels) == 1 else 360,
            stacked=True,
            words=plot_words(words),
            tick_text=words.free,
            y_range=(1.2 * lowest - 1.0, 3 * _NEAR_DB),
        ),
    )
    return Figure(svg, caption, caption, narrow=narrow)


def _caption(worst: Mapping[str, Any] | None, limited: bool, parameter: str, words: Wording) -> str:
    if not limited:
        return words("No limit line applies; the curves stand here as measured.")
    if worst is None:
        return words("The curves could not be graded against this line.")
    p = vocabulary.parameter(parameter)
    where = " ".join(x for x in (worst["pairing"] or "", words.end(worst["end"])) if x)
    filled = {"margin": words.margin(worst["margin"], p.unit), "unit": p.unit, "where": where}
    at = words.free(worst["frequency_mhz"])
    return words("Smallest margin {margin} {unit} at {frequency} MHz, {where}.", frequency=at, **filled)


def _panel(
    parameter: str,
    end: str | None,
    curves: Sequence[PlotCurve],
    grades: Sequence[Mapping[str, Any]],
    limit: PlotCurve | None,
    words: Wording,
    events: Sequence[Mapping[str, Any]],
) -> Panel:
    p = vocabulary.parameter(parameter)
    worst = _worst(parameter, [g for g in grades if g["end"] == end])
    mark = None
    if limit is not None and worst is not None and worst["frequency_mhz"] is not None:
        margin = words("margin {margin} {unit}", margin=words.margin(worst["margin"], p.unit), unit=p.unit)
        text = f"{margin}\n{words.free(worst['frequency_mhz'])} MHz, {worst['pairing'] or ''}"
        mark = Mark(worst["frequency_mhz"], worst["value"], text, worst["pairing"] or "")
    marked = [Event(e["distance_km"], str(e["number"] or "")) for e in events if e["distance_km"] is not None]
    heading = words.end(end) or words.parameter(parameter)
    line = None if limit is None else PlotCurve(words("limit"), limit.x, limit.y)
    free = None if limit is None else left_out.stretch(parameter, end, curves, grades)
    return Panel(heading, tuple(curves), line, p.sense, mark, tuple(dict.fromkeys(marked)), free)


def _worst(parameter: str, grades: Sequence[Mapping[str, Any]]) -> Mapping[str, Any] | None:
    points = [
        g for g in grades if g["parameter"] == parameter and g["kind"] == "worst_margin" and g["margin"] is not None
    ]
    return min(points, key=lambda g: (g["margin"], g["frequency_mhz"] or 0.0), default=None)


__all__ = ["Curves", "Line", "curves_of", "drawn", "figures", "frequency", "line_of", "plot_words"]
