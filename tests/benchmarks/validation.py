"""All rules over full-sweep records: against grading alone, and against the loop that a person would write.

The peer is one loop over records in plain Python and numpy with eight of the rules. Links come from the seeded
simulator with faults planted in one record of twenty.
"""

from __future__ import annotations

import statistics
import time
from collections.abc import Callable, Sequence
from typing import Any

import numpy as np
import pyarrow as pa

from archive.demo.simulator import simulate
from archive.grading import grade
from archive.tables import Batch
from archive.validation.check import run as check
from archive.vocabulary import PAIRS

RULES = (
    "skew-contradicts-delays",
    "delay-contradicts-length",
    "velocity-implausible",
    "sign-wrong",
    "loss-below-zero",
    "curve-constant",
    "points-missing",
    "insertion-loss-falls",
)
Told = set[tuple[str, str]]
LIGHT = 0.299792458


def plant(batch: Batch, every: int = 20) -> Batch:
    """Faults in every so many records: a turned sign, a hole, a constant curve, a wrong skew, a wrong velocity."""
    rows, ids = batch["sweeps"], batch["records"].column("record_id").to_pylist()
    values = rows.column("values").chunk(0)
    flat, starts = values.values.to_numpy().copy(), values.offsets.to_numpy()[:-1]
    gone = np.zeros(len(flat), dtype=bool)
    owner, points = rows.column("record_id").to_pylist(), int(starts[1] - starts[0])
    first = {r: i for i, r in reversed(list(enumerate(owner)))}
    readings = batch["readings"].to_pylist()
    for number, record in enumerate(ids[::every]):
        curve = slice(starts[first[record]], starts[first[record]] + points)
        if number % 5 == 0:
            flat[curve] *= -1
        elif number % 5 == 1:
            gone[curve.start + 100 : curve.start + 120] = True
        elif number % 5 == 2:
            flat[curve] = 20.0
        elif number % 5 == 3:
            next(r for r in readings if r["record_id"] == record and r["quantity"] == "delay_skew")["value"] += 9.0
        else:
            for r in readings:
                if r["record_id"] == record and r["quantity"] == "length":
                    r["value"] *= 1.5
    made = pa.ListArray.from_arrays(values.offsets, pa.array(flat, mask=gone))
    at = rows.schema.get_field_index("values")
    sweeps = rows.set_column(at, rows.schema.field(at), made)
    return batch.replace(sweeps=sweeps, readings=pa.Table.from_pylist(readings, schema=batch["readings"].schema))


def script(batch: Batch) -> Told:
    """The peer: record after record, curve after curve."""
    told: Told = set()
    axes = {a["axis_id"]: np.array(a["frequencies_mhz"]) for a in batch["axes"].to_pylist()}
    scalars: dict[str, dict[tuple[str, str], float]] = {}
    for r in batch["readings"].to_pylist():
        scalars.setdefault(r["record_id"], {})[r["quantity"], r["subject"] or ""] = r["value"]
    for record in batch["records"].to_pylist():
        name, mine = record["record_id"], scalars.get(record["record_id"], {})
        delays = {p: mine["propagation_delay", p] for p in PAIRS if ("propagation_delay", p) in mine}
        for p, delay in delays.items():
            if abs(mine["delay_skew", p] - (delay - min(delays.values()))) > 1.5:
                told.add((name, "skew-contradicts-delays"))
            length, travelled = mine["length", p], delay * record["velocity_percent"] / 100 * LIGHT
            if abs(length - travelled) > max(2.0, 0.04 * max(length, travelled)):
                told.add((name, "delay-contradicts-length"))
        if not 60 <= record["velocity_percent"] <= 82:
            told.add((name, "velocity-implausible"))
    columns = [batch["sweeps"].column(c) for c in ("record_id", "parameter", "axis_id", "values")]
    for name, parameter, axis, listed in zip(*columns, strict=True):
        values, mhz = np.array(listed.as_py(), dtype=float), axes[axis.as_py()]
        _curve(told, name.as_py(), parameter.as_py(), mhz, values)
    return told


def _curve(told: Told, name: str, parameter: str, mhz: np.ndarray, values: np.ndarray) -> None:
    there = values[~np.isnan(values)]
    if len(there) < len(values):
        told.add((name, "points-missing"))
    if there.max() <= 0 and there.min() < 0:
        told.add((name, "sign-wrong"))
    elif there.min() < -0.3:
        told.add((name, "loss-below-zero"))
    if there.min() == there.max():
        told.add((name, "curve-constant"))
    if parameter == "insertion_loss" and len(there) == len(values):
        edges = np.unique(np.searchsorted(mhz, np.geomspace(mhz[0], mhz[-1], 25)[:-1]))
        smooth = np.array([part.mean() for part in np.split(values, edges[1:])])
        if (np.maximum.accumulate(smooth) - smooth).max() > max(0.5, 0.03 * values.max()):
            told.add((name, "insertion-loss-falls"))


def ours(batch: Batch) -> Told:
    """Findings of all rules, those that the peer knows."""
    found = check(batch).findings.to_pylist()
    return {(f["record_id"], f["rule"]) for f in found if f["status"] == "raised" and f["rule"] in RULES}


def _seconds(work: Callable[[], Any], times: int) -> float:
    work()
    spent = []
    for _ in range(times):
        start = time.perf_counter()
        work()
        spent.append(time.perf_counter() - start)
    return statistics.median(spent)


def run(sizes: Sequence[int] = (400,), quick: bool = False) -> list[dict[str, Any]]:
    """Figures at some numbers of links; the peer sees one batch."""
    return [_row(n, quick) for n in ([40] if quick else [s for s in sizes if s <= 5000])]


def _row(links: int, quick: bool) -> dict[str, Any]:
    batches = [plant(b, 8 if quick else 20) for b in simulate(links, seed=2, records=100)]
    graded, one, times = [grade(b) for b in batches], batches[0], 1 if quick else 5
    all_rules = _seconds(lambda: [check(b) for b in graded], times)
    alone = _seconds(lambda: [grade(b) for b in batches], times)
    peer = _seconds(lambda: script(one), times) / len(one) * links
    return {
        "what": "all rules over full-sweep records",
        "links": links,
        "links per second": links / all_rules,
        "speed against grading alone": alone / all_rules,
        "speed against a loop with eight rules": peer / all_rules,
        "agrees with the loop": script(one) == ours(one),
        "planted": len(ours(one)),
    }
