"""Pictures of a record: one per parameter, all pairs, both ends, against a limit."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from archive import vocabulary
from archive.answers.documents import Figure
from archive.answers.plots import Curve, Mark, Panel, plot
from archive.answers.wording import Wording, value_text
from archive.tables import Batch

Array = NDArray[np.float64]
Line = Callable[[str, Array], Array | None]
"""Limit line: parameter id and MHz in, limit out (NaN outside its range), or None where there is none."""


def curves_of(batch: Batch) -> dict[str, dict[str | None, list[Curve]]]:
    """Measured and derived curves by parameter and end, pairings in their order.

    A derived curve that the export gives stands only where the same was not measured.
    """
    axes = {
        r["axis_id"]: np.array(r["frequencies_mhz"] or r["distances_km"], dtype=float)
        for r in batch["axes"].to_pylist()
    }
    sweeps = batch["sweeps"]
    heads = sweeps.select(["parameter", "end", "pairing", "origin", "axis_id", "wavelength_nm"]).to_pylist()
    rank = {"measured": 0, "rebuilt": 1, "derived": 2}
    chosen: dict[tuple[str, str | None, str], tuple[int, Curve]] = {}
    for k, h in enumerate(heads):
        if h["origin"] not in rank:
            continue
        label = h["pairing"] or (f"{h['wavelength_nm']:g} nm" if h["wavelength_nm"] else h["parameter"])
        key = (h["parameter"], h["end"], label)
        if key in chosen and chosen[key][0] <= rank[h["origin"]]:
            continue
        values = sweeps.column("values")[k].values.to_numpy(zero_copy_only=False).astype(float)
        chosen[key] = (rank[h["origin"]], Curve(label, axes[h["axis_id"]], values))
    out: dict[str, dict[str | None, list[Curve]]] = {}
    for (parameter, end, _), (_, curve) in chosen.items():
        out.setdefault(parameter, {}).setdefault(end, []).append(curve)
    order = list(vocabulary.parameters())
    for by_end in out.values():
        for curves in by_end.values():
            curves.sort(key=lambda c: c.label)
    return {p: out[p] for p in order if p in out}


def figures(
    batch: Batch,
    grades: Sequence[Mapping[str, Any]],
    line: Line,
    words: Wording,
    *,
    width: int = 680,
    height: int = 270,
    only: Sequence[str] = (),
) -> list[Figure]:
    """One figure per parameter that has curves, or of those in `only`.

    grades: rows of grades under the limit that `line` draws.
    """
    made = []
    for parameter, by_end in curves_of(batch).items():
        if only and parameter not in only:
            continue
        p = vocabulary.parameter(parameter)
        panels = []
        for end in sorted(by_end, key=lambda e: (e is not None, e)):
            panels.append(_panel(parameter, end, by_end[end], grades, line, words))
        axis = words("distance, km") if parameter == "backscatter" else words("frequency, MHz")
        svg = plot(
            panels,
            title=words("{name} against its limit", name=p.name),
            x_label=axis,
            y_label=f"{p.name}, {p.unit}",
            width=width,
            height=height,
            log_x=parameter != "backscatter",
        )
        worst = _worst(parameter, grades)
        caption = p.name[:1].upper() + p.name[1:] + ". "
        if worst is None:
            caption += words("No limit line applies to these curves; they stand here as measured.")
        else:
            caption += words(
                "Smallest margin {margin} {unit} at {frequency} MHz: {pairing} {end}.",
                margin=value_text(words, worst["margin"], p.unit),
                unit=p.unit,
                frequency=words.free(worst["frequency_mhz"]),
                pairing=worst["pairing"] or "",
                end=_end(worst["end"], words),
            ).replace(" .", ".")
        made.append(Figure(svg, caption, caption))
    return made


def _panel(
    parameter: str,
    end: str | None,
    curves: list[Curve],
    grades: Sequence[Mapping[str, Any]],
    line: Line,
    words: Wording,
) -> Panel:
    p = vocabulary.parameter(parameter)
    f = max((c.x for c in curves), key=len)
    limit = line(parameter, f) if parameter != "backscatter" else None
    limited = None if limit is None or np.isnan(limit).all() else Curve(words("limit"), f, limit)
    worst = _worst(parameter, [g for g in grades if g["end"] == end])
    mark = None
    if limited is not None and worst is not None and worst["frequency_mhz"] is not None:
        text = words("margin {margin} {unit}", margin=value_text(words, worst["margin"], p.unit), unit=p.unit)
        mark = Mark(
            worst["frequency_mhz"],
            worst["value"],
            f"{text}\n{words.free(worst['frequency_mhz'])} MHz, {worst['pairing']}",
        )
    return Panel(_end(end, words) or p.name, tuple(curves), limited, p.sense, mark)


def _worst(parameter: str, grades: Sequence[Mapping[str, Any]]) -> Mapping[str, Any] | None:
    points = [
        g for g in grades if g["parameter"] == parameter and g["kind"] == "worst_margin" and g["margin"] is not None
    ]
    return min(points, key=lambda g: (g["margin"], g["frequency_mhz"] or 0.0), default=None)


def _end(end: str | None, words: Wording) -> str:
    return {"local": words("local end"), "remote": words("remote end")}.get(end or "", "")
