"""Points that a limit leaves out for information: where they lie under the curves of a picture, and how to say so."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np

from archive.answers.plots import LeftOut, PlotCurve
from archive.answers.wording import Wording, plain


def stretch(
    parameter: str, end: str | None, curves: Sequence[PlotCurve], grades: Sequence[Mapping[str, Any]]
) -> LeftOut | None:
    """From where to where points of the curves of one end are left out; None where none is, or grades do not say.

    grades: rows of one limit. Of each curve they give the number of such points, the first and the last. Only where
    these are all points between the two is the curve left out as a whole there; so a stretch counts as left out of
    every curve only where that holds for each of them.
    """
    rows = {
        g["pairing"] or parameter: g
        for g in grades
        if g["parameter"] == parameter and g["end"] == end and g["kind"] != "overall" and g["left_out_points"]
    }
    if not rows:
        return None
    low, high = min(g["left_out_from_mhz"] for g in rows.values()), max(g["left_out_to_mhz"] for g in rows.values())
    extents = [_whole(curve, rows.get(curve.label)) for curve in curves]
    inside = [e for e in extents if e is not None]
    first, last = max((e[0] for e in inside), default=0.0), min((e[1] for e in inside), default=0.0)
    every = (first, last) if len(inside) == len(extents) and first <= last else None
    return LeftOut((low, high), every)


def _whole(curve: PlotCurve, row: Mapping[str, Any] | None) -> tuple[float, float] | None:
    """The first and last point of a curve that are left out, where all between them are."""
    if row is None:
        return None
    low, high = row["left_out_from_mhz"], row["left_out_to_mhz"]
    between = int(np.count_nonzero((curve.x >= low) & (curve.x <= high) & np.isfinite(curve.y)))
    return (low, high) if between == row["left_out_points"] else None


def sentence(parameter: str, grades: Sequence[Mapping[str, Any]], words: Wording) -> str:
    """How many points of a parameter are left out, from where to where, by which rule of which confidence letter."""
    found = next((g for g in grades if g["parameter"] == parameter and g["kind"] == "overall"), None)
    if found is None or not found["left_out_points"]:
        return ""
    return words.counted(
        found["left_out_points"],
        "Left out, for information only: {count} point from {low} to {high} MHz, {rule}.",
        "Left out, for information only: {count} points from {low} to {high} MHz, {rule}.",
        low=words.free(found["left_out_from_mhz"]),
        high=words.free(found["left_out_to_mhz"]),
        rule=plain(found["left_out_rule"]),
    )
