"""Curves for plots of the browser: values, limit, margins and what grading says of each, in one form for all plots.

The page draws and points; it computes nothing. A document has `axes` (a list of x for each), `lines` (the limit on each
axis, or null), `curves` (name, axis, values, margins or null, dim), `tight` (curve, point, text), `left_out` (from, to,
text) and `marks` (x, text).
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

import numpy as np
import pyarrow.compute as pc
from starlette.responses import JSONResponse, Response

from archive import limits, vocabulary
from archive.answers.wording import Wording
from archive.errors import Trouble
from archive.room.app import PageRequest
from archive.room.records import graded, record_batch
from archive.tables import Batch

_MOST_POINTS = 20_000
"""Points of one trace that are sent; a longer one is thinned, and the page says so."""


def curves(asked: PageRequest) -> Response:
    """The curves of one parameter of one record; of a second one too, where it is named, drawn dim."""
    words, parameter = asked.words, asked.needed("parameter")
    listed = [record_batch(asked, asked.needed("record"))]
    if (other := asked.text("beside")) is not None:
        listed.append(record_batch(asked, other))
    sides = [_side(asked, batch, parameter) for batch in listed]
    if not sides[0]["curves"]:
        raise Trouble("the record has no such curve", code="room.no-curve", found=parameter)
    known = vocabulary.parameter(parameter)
    axes: list[list[float]] = []
    out: list[dict[str, Any]] = []
    lines: dict[int, list[float | None]] = {}
    for at, side in enumerate(sides):
        for curve in side["curves"]:
            held = curve.pop("limit")
            out.append({**curve, "axis": _number(axes, curve.pop("x")), "dim": at > 0})
            if held is not None and at == 0:
                lines.setdefault(out[-1]["axis"], held)
            if at > 0:
                out[-1]["name"] = words("{curve}, second record", curve=curve["name"])
    first = sides[0]
    return JSONResponse(
        {
            **_frame(words, words.parameter(parameter), known.unit, "MHz"),
            "axes": axes,
            "curves": out,
            "lines": [lines.get(n) for n in range(len(axes))],
            "limit_name": first["limit"],
            "tight": first["tight"],
            "left_out": first["left_out"],
            "marks": [],
            "log": True,
            "below": known.sense == "min",
        }
    )


def traces(asked: PageRequest) -> Response:
    """The traces of one record over distance, with its events."""
    words = asked.words
    batch = record_batch(asked, asked.needed("record"))
    axes_by_id = {a["axis_id"]: a["distances_km"] for a in batch["axes"].to_pylist()}
    axes: list[list[float]] = []
    out = []
    thinned = False
    for s in batch["sweeps"].to_pylist():
        x = axes_by_id.get(s["axis_id"])
        if s["parameter"] != TRACE or not x:
            continue
        values = s["values"]
        if len(values) > _MOST_POINTS:
            step, thinned = -(-len(values) // _MOST_POINTS), True
            x, values = x[::step], values[::step]
        nm = f"{s['wavelength_nm']:g} nm" if s["wavelength_nm"] else ""
        name = ", ".join(t for t in (s["pairing"] or "", nm, words.way(s["direction"])) if t) or words("trace")
        out.append({"name": name, "axis": _number(axes, x), "values": values, "margins": None})
    if not out:
        raise Trouble("the record has no such curve", code="room.no-curve", found=TRACE)
    marks = [
        {"x": e["distance_km"], "text": f"{e['number']}: {words.term(e['kind'])}"}
        for e in batch["trace_events"].to_pylist()
        if e["distance_km"] is not None
    ]
    note = words("Traces are thinned to {number} points for this picture.", number=_MOST_POINTS) if thinned else ""
    told = {"curves": out, "limit_name": None, "tight": [], "left_out": [], "marks": marks, "log": False, "below": True}
    return JSONResponse(
        {**_frame(words, words("level"), "dB", "km"), "axes": axes, "lines": [None] * len(axes), "note": note, **told}
    )


TRACE = "backscatter"


def sweep_parameters(batch: Batch) -> list[str]:
    """Parameters of which a record has curves over frequency."""
    listed = batch["sweeps"].select(["parameter", "origin", "wavelength_nm"]).to_pylist()
    return list(dict.fromkeys(s["parameter"] for s in listed if s["origin"] != "limit" and s["wavelength_nm"] is None))


def _frame(words: Wording, parameter: str, unit: str, across: str) -> dict[str, Any]:
    """What the page needs to speak: names, units, and words with marks for what is filled in."""
    return {
        "parameter": parameter,
        "unit": words.unit(unit),
        "across": across,
        "decimal": words.number(0.5, 1)[1],
        "words": {
            "value": words("{curve}: {value} at {x}"),
            "none": words("no value"),
            "margin": words("margin {margin}"),
            "tight": words("its tightest point"),
            "excluded": words("for information only"),
            "limit": words("limit"),
            "curves": words("{count} curves, limit {limit}."),
            "free": words("{count} curves, no limit line."),
            "failed": words("The curves could not be read."),
        },
        "note": "",
    }


def _side(asked: PageRequest, batch: Batch, parameter: str) -> dict[str, Any]:
    """Curves of one record, with what grading says of the parameter."""
    found = graded(batch, asked.text("against"), asked.words)["verdicts"]
    verdict: Mapping[str, Any] = found[0] if found else {}
    table = batch["sweeps"].filter(pc.equal(batch["sweeps"]["parameter"], parameter))
    axes = {a["axis_id"]: a["frequencies_mhz"] for a in batch["axes"].to_pylist()}
    limit = limits.get(verdict["limit"]) if verdict.get("limit") in limits.ids() else None
    line = limit.lines.get(parameter) if limit is not None else None
    sign = 1.0 if vocabulary.parameter(parameter).sense == "min" else -1.0
    out = []
    for s in table.to_pylist():
        x = axes.get(s["axis_id"])
        if s["origin"] == "limit" or not x:
            continue
        held = None if line is None else line.at(np.asarray(x, np.float64))
        values = np.array([np.nan if v is None else v for v in s["values"]], np.float64)
        out.append(
            {
                "name": curve_name(s, asked.words),
                "pairing": s["pairing"],
                "end": s["end"],
                "x": x,
                "values": s["values"],
                "limit": None if held is None else _plain(held),
                "margins": None if held is None else _plain(sign * (values - held)),
            }
        )
    points = [p for p in verdict.get("parameters", []) if p["parameter"] == parameter]
    left_out = [x for x in verdict.get("left_out", []) if x["parameter"] == parameter]
    return {
        "curves": out,
        "limit": verdict.get("limit") if line is not None else None,
        "tight": list(_tight(points, out, asked.words)),
        "left_out": [
            {
                "from": x["from_mhz"],
                "to": x["to_mhz"],
                "text": asked.words(
                    "{count} points are for information only: {rule}", count=x["points"], rule=x["rule"]
                ),
            }
            for x in left_out
        ],
    }


def curve_name(s: Mapping[str, Any], words: Wording) -> str:
    """What a curve is of: pair or combination, and end."""
    parts = [s["pairing"] or words("the link"), words.end(s["end"])]
    return ", ".join(part for part in parts if part)


def _tight(
    points: Iterable[Mapping[str, Any]], listed: list[dict[str, Any]], words: Wording
) -> Iterable[dict[str, Any]]:
    """Worst margin of each curve, the smallest first."""
    found = []
    for p in points:
        w = p["worst_margin"]
        if not w or w["margin"] is None or w["frequency_mhz"] is None:
            continue
        curve = next((i for i, c in enumerate(listed) if (c["pairing"], c["end"]) == (p["pairing"], p["end"])), None)
        if curve is None:
            continue
        point = int(np.argmin(np.abs(np.asarray(listed[curve]["x"]) - w["frequency_mhz"])))
        text = f"{words.margin(w['margin'], w['unit'])} {words.unit(w['unit'])}"
        verdict = words.marked(p["verdict"], provisional=p["provisional"])
        found.append({"curve": curve, "point": point, "text": text, "margin": w["margin"], "verdict": verdict})
    return sorted(found, key=lambda t: float(t["margin"]))


def _number(axes: list[list[float]], x: list[float]) -> int:
    if x not in axes:
        axes.append(x)
    return axes.index(x)


def _plain(values: Any) -> list[float | None]:
    return [None if np.isnan(v) else round(float(v), 3) for v in values]
