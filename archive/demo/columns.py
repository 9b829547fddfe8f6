"""Arrays as columns of the canonical tables."""

from __future__ import annotations

from collections.abc import Sequence
from functools import cache
from typing import Any

import numpy as np
import pyarrow as pa

from archive.demo.instrument import SimulatedWorst, subjects
from archive.demo.scalars import KINDS, round_to
from archive.tables import schema
from archive.vocabulary import COMBINATIONS, ENDS, ORDERED, PAIRS

CURVES: tuple[tuple[str, str | None, str], ...] = (
    *(("insertion_loss", None, p) for p in PAIRS),
    *(("return_loss", e, p) for e in ENDS for p in PAIRS),
    *(("next", e, c) for e in ENDS for c in COMBINATIONS),
    *(("fext", e, c) for e in ENDS for c in ORDERED),
)
"""Parameter, end and pairing of the 48 measured curves, in their order."""
DERIVED: tuple[tuple[str, str | None, str], ...] = tuple(
    (p, e, c) for p in ("ps_next", "acr_f", "ps_acr_f") for e, c in subjects(p)
)
"""The same of the 40 derived ones."""


def table(name: str, rows: int, columns: dict[str, Any]) -> Any:
    """One table of the definition; a column that is not given is null."""
    want = schema(name)
    made = []
    for field in want:
        given = columns.get(field.name)
        if given is None:
            made.append(pa.nulls(rows, field.type))
        else:
            made.append(given.cast(field.type) if isinstance(given, pa.Array) else pa.array(given, type=field.type))
    return pa.table(made, schema=want)


def tiled(words: Sequence[str | None], times: int) -> Any:
    """The words, over and over."""
    return pa.array(words, type=pa.string()).take(pa.array(np.tile(np.arange(len(words)), times)))


def derive(values: Any, step: float | None) -> Any:
    """The 40 derived curves (n, 40, F) from the 48 measured ones (n, 48, F), in dB."""
    n, _, points = values.shape
    loss, near, far = (
        values[:, :4],
        values[:, 12:24].reshape(n, 2, 6, points),
        values[:, 24:48].reshape(n, 2, 12, points),
    )
    victim = [PAIRS.index(c.split("/")[1]) for c in ORDERED]
    acr_f = far - loss[:, None, victim]

    def total(parts: Any) -> Any:
        return -10 * np.log10(np.sum(10 ** (-parts / 10), axis=2))

    of = [[i for i, c in enumerate(COMBINATIONS) if p in c.split("/")] for p in PAIRS]
    to = [[i for i, c in enumerate(ORDERED) if c.split("/")[1] == p] for p in PAIRS]
    ps_next = np.stack([total(near[:, :, rows]) for rows in of], axis=2)
    ps_acr_f = np.stack([total(acr_f[:, :, rows]) for rows in to], axis=2)
    parts = [x.reshape(n, -1, points) for x in (ps_next, acr_f, ps_acr_f)]
    out = np.concatenate(parts, axis=1)
    return out if step is None else round_to(out, step)


def sweeps(ids: Any, values: Any, axis_id: str, step: float | None, derived: bool) -> Any:
    """The table of sweeps. values: float64 (n, 48, F)."""
    curves, origin = CURVES, ["measured"] * len(CURVES)
    if derived:
        values = np.concatenate([values, derive(values, step)], axis=1)
        curves, origin = CURVES + DERIVED, origin + ["derived"] * len(DERIVED)
    n, rows, points = values.shape
    offsets = pa.array(np.arange(0, n * rows + 1, dtype=np.int32) * np.int32(points))
    columns = {
        "record_id": ids.take(pa.array(np.repeat(np.arange(n), rows))),
        "parameter": tiled([c[0] for c in curves], n),
        "end": tiled([c[1] for c in curves], n),
        "pairing": tiled([c[2] for c in curves], n),
        "origin": tiled(origin, n),
        "axis_id": tiled([axis_id], n * rows),
        "values": pa.ListArray.from_arrays(offsets, pa.array(values.reshape(-1))),
        "step": None if step is None else np.full(n * rows, step),
    }
    return table("sweeps", n * rows, columns)


@cache
def _names() -> tuple[Any, Any, dict[str, int]]:
    """End and pairing of all rows of all parameters, one after the other, and where each parameter begins."""
    rows: list[tuple[str | None, str]] = []
    begins = {}
    for name in ("insertion_loss", "return_loss", "next", "ps_next", "acr_f", "ps_acr_f"):
        begins[name] = len(rows)
        rows += subjects(name)
    for name in ("propagation_delay", "delay_skew", "loop_resistance"):
        begins[name] = len(rows)
        rows += [(None, p) for p in PAIRS]
    return pa.array([r[0] for r in rows]), pa.array([r[1] for r in rows]), begins


def reported(ids: Any, worst: Sequence[SimulatedWorst], f: Any, step: float | None) -> Any:
    """The table of what the instrument reported, a row per test and kind of worst case."""
    n, kinds = len(ids), len(worst)
    ends, pairings, begins = _names()
    at = pa.array(np.stack([begins[w.parameter] + w.row for w in worst], axis=1).reshape(-1))
    point = np.stack([w.point for w in worst], axis=1).reshape(-1)
    margin = np.stack([w.margin for w in worst], axis=1)
    # a worst value may lie where the limit does not decide: the verdict is that of the parameter
    misses = {w.parameter: w.margin < 0 for w in worst if w.kind == "worst_margin"}
    fails = np.stack([misses[w.parameter] for w in worst], axis=1)
    steps = np.array([_step(w.parameter, step) for w in worst], dtype=np.float64)

    def number(name: str) -> Any:
        columns = [getattr(w, name) for w in worst]
        if step is not None:
            columns = [round_to(c, s) + 0.0 for c, s in zip(columns, steps.tolist(), strict=True)]
        return np.stack(columns, axis=1).reshape(-1)

    columns = {
        "record_id": ids.take(pa.array(np.repeat(np.arange(n), kinds))),
        "parameter": tiled([w.parameter for w in worst], n),
        "kind": tiled([w.kind for w in worst], n),
        "end": ends.take(at),
        "pairing": pairings.take(at),
        "frequency_mhz": pa.array(f[point], mask=point < 0),
        "value": number("value"),
        "limit": number("limit"),
        "margin": number("margin"),
        "verdict": pa.array(np.array(["pass", "fail"], dtype=object)[fails.astype(int).reshape(-1)]),
        "step": None if step is None else np.tile(steps, n),
    }
    made = table("reported", n * kinds, columns)
    judged = np.isfinite(margin).reshape(-1)
    return made if judged.all() else made.filter(pa.array(judged))


def _step(parameter: str, step: float | None) -> float:
    if step is None:
        return np.nan
    own = {k.quantity: k.step for k in KINDS}
    return own.get(parameter, step)
