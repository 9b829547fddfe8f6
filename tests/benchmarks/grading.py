"""Grading from curves: ours against the script that a person would write, and against bare numpy.

The peer is one loop over records with pandas: it picks the curves of a record into a frame, computes power sums,
ACR-N and ACR-F, margins against the limit's lines, and the worst of each. The limit is the same arithmetic in numpy
on arrays that are already in memory, one parameter after the other, without reading, grouping or writing rows;
also in slices of eight links, which stay in the cache.
Links come from the seeded simulator (48 curves of 1,028 points at 0.1 dB).
"""

from __future__ import annotations

import statistics
import time
import tracemalloc
from collections.abc import Callable, Sequence
from typing import Any

import numpy as np
import pandas as pd

from archive import limits, vocabulary
from archive.demo.simulator import simulate
from archive.grading import grade
from archive.tables import Batch

LIMIT = "tia-568.2-d/cat6a/permanent-link"
PAIRS, ENDS = vocabulary.PAIRS, vocabulary.ENDS
Worst = dict[tuple[str, str, str | None, str], tuple[float, float, float, float]]
"""By record, parameter, end, pairing: frequency and margin of the worst margin, then frequency and value of the worst
value."""


def pandas_script(batch: Batch, limit_id: str = LIMIT) -> Worst:
    """The peer: what a person who knows pandas writes in an afternoon. One record after the other."""
    limit = limits.get(limit_id)
    axes = {row["axis_id"]: np.array(row["frequencies_mhz"]) for row in batch["axes"].to_pylist()}
    lines = {axis: {p: pd.Series(line.at(f), index=f) for p, line in limit.lines.items()} for axis, f in axes.items()}
    rule = {p: line.informational.get("il_below", -np.inf) for p, line in limit.lines.items()}
    sweeps = batch["sweeps"].select(["record_id", "parameter", "end", "pairing", "axis_id", "values"]).to_pandas()
    found: Worst = {}
    for record, rows in sweeps.groupby("record_id", sort=False):
        axis = rows["axis_id"].iloc[0]
        frame = pd.DataFrame(
            {
                (p, e if isinstance(e, str) else "", c): v
                for p, e, c, v in zip(rows["parameter"], rows["end"], rows["pairing"], rows["values"], strict=True)
            },
            index=axes[axis],
        )
        loss = {pair: frame["insertion_loss", "", pair] for pair in PAIRS}
        curves: dict[tuple[str, str, str], pd.Series] = {key: frame[key] for key in frame.columns}
        for end in ENDS:
            for pair in PAIRS:
                others = [p for p in PAIRS if p != pair]
                power = sum(10 ** (-curves["next", end, _lower_first(o, pair)] / 10) for o in others)
                curves["ps_next", end, pair] = -10 * np.log10(power)
                curves["ps_acr_n", end, pair] = curves["ps_next", end, pair] - loss[pair]
                for o in others:
                    curves["acr_n", end, f"{o}/{pair}"] = curves["next", end, _lower_first(o, pair)] - loss[pair]
                    curves["acr_f", end, f"{o}/{pair}"] = curves["fext", end, f"{o}/{pair}"] - loss[pair]
                power = sum(10 ** (-curves["acr_f", end, f"{o}/{pair}"] / 10) for o in others)
                curves["ps_acr_f", end, pair] = -10 * np.log10(power)
        for (parameter, end, pairing), values in curves.items():
            line = lines[axis].get(parameter)
            if line is None:
                continue
            margin = line - values if limit.lines[parameter].sense == "max" else values - line
            names = pairing.split("/")
            out = pd.concat([loss[name] for name in names], axis=1).max(axis=1) < rule[parameter]
            margin, values = margin[~out].dropna(), values[~out]
            at = margin.idxmin()
            value_at = values.idxmax() if limit.lines[parameter].sense == "max" else values.idxmin()
            found[str(record), parameter, end or None, pairing] = (at, margin[at], value_at, values[value_at])
    return found


def _lower_first(a: str, b: str) -> str:
    return "/".join(sorted((a, b), key=PAIRS.index))


class Arrays:
    """The curves of a batch in memory as bare numpy has them: (links, curves, points) by parameter."""

    def __init__(self, batch: Batch, limit_id: str = LIMIT) -> None:
        n = len(batch)
        rows = (
            batch["sweeps"].slice(0, batch["sweeps"].num_rows // n).select(["parameter", "end", "pairing"]).to_pylist()
        )
        flat = batch["sweeps"].column("values").combine_chunks().flatten().to_numpy().reshape(n, len(rows), -1)
        (axis,) = batch["axes"].to_pylist()
        limit = limits.get(limit_id)
        self.lines = {name: line.at(np.array(axis["frequencies_mhz"])) for name, line in limit.lines.items()}
        self.rule = limit.lines["return_loss"].informational.get("il_below", 0.0)
        self.names = {
            p: [r for r in rows if r["parameter"] == p] for p in ("insertion_loss", "return_loss", "next", "fext")
        }
        self.curves = {
            p: np.ascontiguousarray(flat[:, [i for i, r in enumerate(rows) if r["parameter"] == p]]) for p in self.names
        }

    def pair(self, names: list[dict[str, Any]], which: int = -1) -> list[int]:
        """Place of a pair of each pairing."""
        return [PAIRS.index(r["pairing"].split("/")[which]) for r in names]


def bare_numpy(a: Arrays, part: slice = slice(None)) -> dict[str, Any]:
    """The arithmetic alone: margins, worst margins, worst values of every parameter."""
    loss, near, far = (a.curves[p][part] for p in ("insertion_loss", "next", "fext"))
    returned, names = a.curves["return_loss"][part], a.names
    out = {"insertion_loss": _worst(loss, a.lines["insertion_loss"], True)}
    shown = np.where(loss[:, a.pair(names["return_loss"])] < a.rule, np.inf, returned)
    out["return_loss"] = _worst(shown, a.lines["return_loss"])
    out["next"] = _worst(near, a.lines["next"])
    power = 10 ** (-near / 10)
    by_pair = [
        [i for i, r in enumerate(names["next"]) if r["end"] == e and p in r["pairing"].split("/")]
        for e in ENDS
        for p in PAIRS
    ]
    sums = -10 * np.log10(np.stack([power[:, members].sum(axis=1) for members in by_pair], axis=1))
    out["ps_next"] = _worst(sums, a.lines["ps_next"])
    twice = [i for i in range(len(names["next"])) for _ in (0, 1)]
    disturbed = [PAIRS.index(p) for r in names["next"] for p in r["pairing"].split("/")]
    out["acr_n"] = _worst(near[:, twice] - loss[:, disturbed], a.lines["acr_n"])
    out["ps_acr_n"] = _worst(sums - loss[:, [0, 1, 2, 3, 0, 1, 2, 3]], a.lines["ps_acr_n"])
    equal = far - loss[:, a.pair(names["fext"])]
    out["acr_f"] = _worst(equal, a.lines["acr_f"])
    power = 10 ** (-equal / 10)
    by_pair = [
        [i for i, r in enumerate(names["fext"]) if r["end"] == e and r["pairing"].endswith("/" + p)]
        for e in ENDS
        for p in PAIRS
    ]
    sums = -10 * np.log10(np.stack([power[:, members].sum(axis=1) for members in by_pair], axis=1))
    out["ps_acr_f"] = _worst(sums, a.lines["ps_acr_f"])
    return out


def _worst(values: Any, line: Any, maximum: bool = False) -> tuple[Any, ...]:
    margin = line - values if maximum else values - line
    at = margin.argmin(axis=-1)
    value_at = values.argmax(axis=-1) if maximum else values.argmin(axis=-1)
    pick = np.take_along_axis
    return at, pick(margin, at[..., None], -1)[..., 0], value_at, pick(values, value_at[..., None], -1)[..., 0]


def ours(batch: Batch, limit_id: str = LIMIT) -> Worst:
    """Our rows in the peer's shape; curves only."""
    graded = grade(batch, limit_id)["grades"].to_pandas()
    graded = graded[graded["parameter"].isin(limits.get(limit_id).lines) & graded["frequency_mhz"].notna()]
    found: Worst = {}
    half: dict[tuple[str, str, str | None, str], tuple[float, float]] = {}
    columns = ("record_id", "parameter", "end", "pairing", "kind", "frequency_mhz", "margin", "value")
    for record, parameter, end, pairing, kind, f, margin, value in zip(*(graded[c] for c in columns), strict=True):
        if parameter == "propagation_delay":
            continue
        key = (record, parameter, end if isinstance(end, str) else None, pairing)
        if kind == "worst_margin":
            half[key] = (f, margin)
        else:
            found[key] = (*half[key], f, value)
    return found


def agreement(batch: Batch, limit_id: str = LIMIT) -> tuple[int, float]:
    """Number of curves that both graded, and the largest difference in dB. Errors: AssertionError where one graded
    a curve that the other did not, or where worst points lie at other frequencies though margins differ."""
    mine, peer = ours(batch, limit_id), pandas_script(batch, limit_id)
    assert mine.keys() == peer.keys(), mine.keys() ^ peer.keys()
    off = 0.0
    for key, (f, margin, value_f, value) in mine.items():
        other_f, other_margin, other_value_f, other_value = peer[key]
        off = max(off, abs(margin - other_margin), abs(value - other_value))
        # Points that tie but for the last bit of a logarithm may be told by either.
        assert f == other_f or abs(margin - other_margin) < 1e-8, key
        assert value_f == other_value_f or abs(value - other_value) < 1e-8, key
    return len(mine), off


def run(sizes: Sequence[int] = (400, 5_000), quick: bool = False) -> list[dict[str, Any]]:
    """One row per number of links. quick: twelve links once, for the tests; above 5,000 links nothing new is learnt."""
    return [_row(links, quick) for links in ((12,) if quick else [n for n in sizes if n <= 5_000])]


def _row(links: int, quick: bool) -> dict[str, Any]:
    """Medians per link over the batches of a job (a small job is gone through several times)."""
    taken: list[list[float]] = []
    compared: tuple[int, float] | None = None
    peer = peak = 0.0
    count = 0
    for batch in simulate(links, 1):
        n = len(batch)
        count += n
        if compared is None:
            some = batch.select(batch["records"].column("record_id").to_pylist()[: 6 if quick else 12])
            compared = agreement(some)
            peer = _medians([lambda s=some: pandas_script(s)], 1 if quick else 5)[0] / len(some)
        arrays = Arrays(batch)
        works = [
            lambda b=batch: grade(b, LIMIT),
            lambda a=arrays: bare_numpy(a),
            lambda a=arrays, n=n: [bare_numpy(a, slice(i, i + 8)) for i in range(0, n, 8)],
        ]
        taken.append([t / n for t in _medians(works, 1 if quick or links > 1_000 else 7)])
        if not quick:
            tracemalloc.start()
            grade(batch, LIMIT)
            peak = max(peak, tracemalloc.get_traced_memory()[1] / 2**20)
            tracemalloc.stop()
    whole, bare, sliced = (statistics.median(column) for column in zip(*taken, strict=True))
    assert compared is not None
    return {
        "what": "grade against 6A, curves in memory",
        "links": count,
        "curves_compared": compared[0],
        "largest_difference_db": float(compared[1]),
        "times_pandas": peer / whole,
        "of_bare_numpy": bare / whole,
        "of_bare_numpy_in_cache": sliced / whole,
        "links_per_second": 1 / whole,
        "peak_mib": peak or None,
    }


def _medians(works: Sequence[Callable[[], object]], runs: int) -> list[float]:
    """Median time of each, run in turn so that whatever else the machine does falls on all of them."""
    taken: list[list[float]] = [[] for _ in works]
    for run_number in range(runs + 1):
        for work, times in zip(works, taken, strict=True):
            begin = time.perf_counter()
            work()
            if run_number:
                times.append(time.perf_counter() - begin)
    return [statistics.median(times) for times in taken]
