"""Whether two records of one test say the same: with other rounding, in less detail, or something else."""

from __future__ import annotations

from typing import Literal

import numpy as np

from archive.tables import Batch
from archive.tables.arrow import Reals
from archive.tables.decimals import STEPS, fewest_decimals, fits_nearly

Answer = Literal["agrees", "differs", "nothing in common"]

_CURVE = ["parameter", "end", "pairing", "disturber", "wavelength_nm"]
_SCALAR = {
    "readings": (("quantity", "subject", "end", "direction", "wavelength_nm", "frequency_mhz", "origin"), ("value",)),
    "reported": (("parameter", "kind", "end", "pairing", "direction", "wavelength_nm"), ("value", "limit", "margin")),
}
_ROUND = 1e-9


def compare(a: Batch, b: Batch) -> Answer:
    """Compares the values of two records, each a batch of one.

    Numbers agree within half a step of the one plus half a step of the other; where a source gives no step, within
    half a unit of its last decimal. Curves are compared at the frequencies that both have.
    """
    answers = [_verdicts(a, b), _curves(a, b), *(_scalars(a, b, name) for name in _SCALAR), _wires(a, b)]
    if "differs" in answers:
        return "differs"
    return "agrees" if "agrees" in answers else "nothing in common"


def opposite(a: Batch, b: Batch) -> bool:
    """Whether two records are the two directions of one loss test: the same fibers and wavelengths, each in a direction
    that the other does not have. Neither tells less than the other."""
    mine, theirs = (
        [r for r in x["readings"].to_pylist() if r["quantity"] == "optical_loss" and r["origin"] == "measured"]
        for x in (a, b)
    )
    ways = [{r["direction"] for r in rows} for rows in (mine, theirs)]
    what = [{(r["subject"], r["wavelength_nm"]) for r in rows} for rows in (mine, theirs)]
    return bool(mine) and None not in ways[0] | ways[1] and ways[0].isdisjoint(ways[1]) and what[0] == what[1]


def _verdicts(a: Batch, b: Batch) -> Answer:
    """Verdicts of the instrument on the whole, where both were against the same limit."""
    x, y = (r["records"].select(["reported_verdict", "limit_found"]).to_pylist()[0] for r in (a, b))
    verdicts, limits = ({r[n] for r in (x, y) if r[n]} for n in ("reported_verdict", "limit_found"))
    return "differs" if len(verdicts) == 2 and len(limits) < 2 else "nothing in common"


def _curves(a: Batch, b: Batch) -> Answer:
    first, second = _by_name(a), _by_name(b)
    seen: Answer = "nothing in common"
    for name in first.keys() & second.keys():
        (f, v, s), (g, w, t) = first[name], second[name]
        _, i, j = np.intersect1d(f, g, assume_unique=True, return_indices=True)
        there = ~np.isnan(v[i]) & ~np.isnan(w[j])
        if not there.any():
            continue
        gap = np.abs(v[i][there] - w[j][there])
        if (gap > (s + t) / 2 + _ROUND).any():
            return "differs"
        seen = "agrees"
    return seen


def _by_name(batch: Batch) -> dict[tuple[object, ...], tuple[Reals, Reals, float]]:
    """Measured curves by what they are of: axis, values (NaN where missing or a bound), step."""
    curves, found = batch.curves, {}
    names = batch["sweeps"].select(_CURVE).to_pylist()
    steps = np.nan_to_num(curves.step).tolist()
    for row in np.flatnonzero(curves.mask("origin", "measured") & curves.fits).tolist():
        values = curves.exact[curves.span(row)]
        found[tuple(names[row].values())] = curves.axes[curves.axis[row]], values, steps[row] or _step(values)
    return found


def _scalars(a: Batch, b: Batch, name: str) -> Answer:
    keys, columns = _SCALAR[name]
    first, second = ({tuple(r[k] for k in keys): r for r in x[name].to_pylist()} for x in (a, b))
    seen: Answer = "nothing in common"
    for key in first.keys() & second.keys():
        x, y = first[key], second[key]
        for column in columns:
            v, w = x[column], y[column]
            if v is None or w is None or x.get("censored") or y.get("censored"):
                continue
            step = sum((r["step"] or _step(np.array([r[column]]))) for r in (x, y)) / 2
            if abs(v - w) > step + _ROUND:
                return "differs"
            seen = "agrees"
        if x.get("verdict") and y.get("verdict") and x["verdict"] != y["verdict"]:
            return "differs"
    return seen


def _wires(a: Batch, b: Batch) -> Answer:
    first, second = ({r["near"]: (r["far"], r["fault"]) for r in x["wiremap"].to_pylist()} for x in (a, b))
    both = first.keys() & second.keys()
    if any(first[near] != second[near] for near in both):
        return "differs"
    return "agrees" if both else "nothing in common"


def _step(values: Reals) -> float:
    """One unit of the last decimal that any of the values needs; 0 where they need more than six."""
    (decimals,) = fewest_decimals(values, np.array([0]), np.array([len(values)]), fits_nearly)
    return float(STEPS[decimals]) if decimals >= 0 else 0.0
