"""Pictures of a record: one per parameter, all pairs, both ends, against a limit."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from archive import limits, vocabulary
from archive.answers.claim import left_out
from archive.answers.documents import Figure
from archive.answers.plots import LINEAR, ROOT, Event, Mark, Panel, PlotCurve, PlotLayout, plot
from archive.answers.wording import Wording
from archive.tables import Batch

Array = NDArray[np.float64]
Line = Callable[[str, Array], Array | None]
"""Limit line: parameter id and MHz in, limit out (NaN outside its range), or None where there is none."""
Curves = Mapping[str, Mapping[str | None, list[PlotCurve]]]

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


def _limit(parameter: str, by_end: Mapping[str | None, list[PlotCurve]], line: Line) -> PlotCurve | None:
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
    draws. compact: both ends side by side on half the height.
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
        if by_end:
            made.append(_figure(parameter, by_end, grades, line, words, events, compact))
    return made


def _figure(
    parameter: str,
    by_end: Mapping[str | None, list[PlotCurve]],
    grades: Sequence[Mapping[str, Any]],
    line: Line,
    words: Wording,
    events: Sequence[Mapping[str, Any]],
    compact: bool,
) -> Figure:
    limit = _limit(parameter, by_end, line)
    trace = parameter == "backscatter"
    ends = sorted(by_end, key=lambda e: (e is not None, e or ""))
    panels = [_panel(parameter, end, by_end[end], grades, limit, words, events if trace else ()) for end in ends]
    name = words.parameter(parameter)
    worst = _worst(parameter, grades) if limit is not None else None
    caption = name[:1].upper() + name[1:] + ". " + _caption(worst, limit is not None, parameter, words)
    told = left_out.sentence(parameter, grades, words) if limit is not None else ""
    caption += f" {told}" if told else ""
    tall = 205 if compact else 300 if len(panels) == 1 else 440
    svg = plot(
        panels,
        title=caption,
        x_label=words("distance, km") if trace else words("frequency, MHz (even steps of its square root)"),
        y_label=words.headed(parameter),
        layout=PlotLayout(
            height=tall,
            scale=LINEAR if trace else ROOT,
            stacked=not compact,
            detail=0.4 if compact else 0.75,
            words=(words("worst curve"), words("margin"), words("fails"), words("limit, for information")),
            tick_text=words.free,
        ),
    )
    return Figure(svg, caption, caption)


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


__all__ = ["Curves", "Line", "curves_of", "drawn", "figures", "line_of"]
