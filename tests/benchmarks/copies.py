"""Copied curves: recall on planted copies, false alarms on the hardest clean links, cost against all pairs.

Hard clean set: neighbours of one bundle with equal length and hardware and residuals correlated by 0.9, rounded to
0.1 dB, two per cent of the links tested a second time. Everything is simulated; the rate in the field is not known.

    python -m tests.benchmarks.copies 100000 1          # clean, one seed: false alarms, time, memory
    python -m tests.benchmarks.copies 100000 1 planted  # with 200 planted copies: recall by kind
    python -m tests.benchmarks.copies 4000 1 curve      # recall against false alarms over thresholds

On a machine that is busy otherwise set OPENBLAS_NUM_THREADS=1: the products of the simulator are small, and threads
that wait for each other make it eight times slower. Seconds of the clock and of the processor are both told.
"""

from __future__ import annotations

import json
import resource
import sys
import time
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import pyarrow as pa

from archive.demo.simulator import simulate
from archive.tables import Batch
from archive.validation.catalogue.policy import Policy
from archive.validation.copies import Copies, find
from archive.validation.copies.compare import compare, evidence
from archive.validation.copies.detector import NEAR, sketches_for
from archive.validation.copies.residual import parts
from archive.validation.look import RecordLook

HARD: dict[str, Any] = {"bundle_correlation": 0.9, "equal_lengths": True, "repeat_share": 0.02, "step": 0.1}
KINDS = ("exact", "rounded", "shifted", "scaled", "re-noised")
PARAMETERS = ("next", "return_loss")


def change(kind: str, values: np.ndarray, rng: np.random.Generator, most_noise: float = 0.6) -> np.ndarray:
    """Curves (n, points) in dB as somebody might have changed them before saving them again."""
    if kind == "rounded":
        step = rng.choice([0.5, 1.0])
        return np.round(values / step) * step
    if kind == "shifted":
        values = values + rng.uniform(0.1, 2.0) * rng.choice([-1, 1])
    elif kind == "scaled":
        values = values * (1 + rng.uniform(0.01, 0.08) * rng.choice([-1, 1]))
    elif kind == "re-noised":
        values = values + rng.normal(0, rng.uniform(0.05, most_noise), values.shape)
    return np.round(values, 1)


@dataclass
class Planted:
    """Simulated links of which some carry the curves of another. plan: number of the link -> source and kind."""

    links: int
    seed: int
    plan: dict[int, tuple[int, str]] = field(default_factory=dict)
    spent: np.ndarray = field(default_factory=lambda: np.zeros(2))
    most_noise: float = 0.6

    def plant(self, copies: int) -> Planted:
        """Chooses sources and targets."""
        rng = np.random.default_rng(self.seed + 77)
        chosen = rng.choice(self.links, 2 * copies, replace=False)
        pairs = zip(chosen[:copies], chosen[copies:], strict=True)
        self.plan = {int(t): (int(s), KINDS[i % len(KINDS)]) for i, (s, t) in enumerate(pairs)}
        return self

    def batches(self, wanted: set[str] | None = None) -> Iterator[Batch]:
        """All links, or only the batches that hold wanted records. The time that simulating takes is put aside."""
        start = clock()
        if wanted is not None:
            yield from self._some(wanted)
            return
        number = 0
        for batch in simulate(self.links, self.seed, **HARD):
            made = self._changed(batch, number)
            number += len(
                set(zip(*(made["records"].column(c).to_pylist() for c in ("job_id", "link_label")), strict=True))
            )
            self.where.update(dict.fromkeys(made["records"].column("record_id").to_pylist(), len(self.starts)))
            self.starts.append((self._begun, number))
            self._begun = number
            self.spent += clock() - start
            yield made
            start = clock()

    where: dict[str, int] = field(default_factory=dict)
    starts: list[tuple[int, int]] = field(default_factory=list)
    _begun: int = 0

    def _some(self, wanted: set[str]) -> Iterator[Batch]:
        start = clock()
        for place in sorted({self.where[w] for w in wanted}):
            first, last = self.starts[place]
            for batch in simulate(last - first, self.seed, start=first, **HARD):
                made = self._changed(batch, first)
                self.spent += clock() - start
                yield made
                start = clock()

    def _changed(self, batch: Batch, first: int) -> Batch:
        """The batch with the planted curves in it."""
        order = list(
            dict.fromkeys(zip(*(batch["records"].column(c).to_pylist() for c in ("job_id", "link_label")), strict=True))
        )
        here = [t for t in self.plan if first <= t < first + len(order)]
        if not here:
            return batch
        rows = batch["sweeps"]
        values = rows.column("values").chunk(0)
        flat = values.values.to_numpy().copy()
        starts = values.offsets.to_numpy()[:-1]
        parameter = np.array(rows.column("parameter").to_pylist())
        owner = np.array(rows.column("record_id").to_pylist())
        names = dict(zip(order, range(first, first + len(order)), strict=True))
        first_test: dict[int, str] = {}
        for r in batch["records"].select(["record_id", "job_id", "link_label"]).to_pylist():
            first_test.setdefault(names[r["job_id"], r["link_label"]], r["record_id"])
        for target in here:
            source, kind = self.plan[target]
            at = np.flatnonzero((owner == first_test[target]) & np.isin(parameter, PARAMETERS))
            curves = _curves(self.seed, source)
            new = change(kind, curves, np.random.default_rng([self.seed, target]), self.most_noise)
            for row, curve in zip(at, new, strict=True):
                flat[starts[row] : starts[row] + len(curve)] = curve
        made = pa.ListArray.from_arrays(values.offsets, pa.array(flat))
        at = rows.schema.get_field_index("values")
        return batch.replace(sweeps=rows.set_column(at, rows.schema.field(at), made))


def _curves(seed: int, link: int) -> np.ndarray:
    """NEXT and return-loss curves of the first test of one link, in the order of the table."""
    batch = next(simulate(1, seed, start=link, **HARD))
    rows = batch["sweeps"]
    first = batch["records"].column("record_id")[0].as_py()
    keep = [
        i
        for i, (r, p) in enumerate(
            zip(rows.column("record_id").to_pylist(), rows.column("parameter").to_pylist(), strict=True)
        )
        if r == first and p in PARAMETERS
    ]
    return np.stack([np.asarray(rows.column("values")[i].values) for i in keep])


def clock() -> np.ndarray:
    """Seconds of the clock and of the processor."""
    return np.array([time.perf_counter(), time.process_time()])


def detect(planted: Planted) -> tuple[Copies, float, float]:
    """The detector's result, and the seconds of the clock and of the processor it took, without the simulator's."""
    start = clock()
    sketches = sketches_for()
    for batch in planted.batches():
        sketches.add(batch)
    found = find(sketches, lambda ids: planted.batches(set(ids)))
    seconds, processor = clock() - start - planted.spent
    return found, float(seconds), float(processor)


def recall(planted: Planted, found: Copies) -> tuple[dict[str, float], int]:
    """Recall by kind, and the number of pairs that were not planted."""
    number: dict[tuple[str, str], int] = {}
    hits = {k: [0, 0] for k in KINDS}
    labels = _labels(planted)
    number = {key: i for i, key in enumerate(labels)}
    told = {frozenset((number[p.job_a, p.label_a], number[p.job_b, p.label_b])) for p in found.pairs}
    wanted = {frozenset((t, s)): kind for t, (s, kind) in planted.plan.items()}
    for pair, kind in wanted.items():
        hits[kind][0] += pair in told
        hits[kind][1] += 1
    return {k: a / b for k, (a, b) in hits.items() if b}, len(told - set(wanted))


def _labels(planted: Planted) -> list[tuple[str, str]]:
    out: dict[tuple[str, str], None] = {}
    for batch in simulate(planted.links, planted.seed, sweeps=False):
        out.update(
            dict.fromkeys(zip(*(batch["records"].column(c).to_pylist() for c in ("job_id", "link_label")), strict=True))
        )
    return list(out)


def all_pairs(planted: Planted) -> tuple[set[frozenset[str]], float]:
    """The peer: every pair compared in full, with the same statistic. Only where it still ends."""
    held = []
    for batch in planted.batches():
        look = RecordLook(batch, "1970-01-01")
        rows = [(look.ids[int(r)].as_py(), evidence(p, i)) for p in parts(look.curves) for i, r in enumerate(p.rows)]
        meta = {r["record_id"]: (r["job_id"], r["link_label"]) for r in batch["records"].to_pylist()}
        held += [(i, meta[i], e) for i, e in rows]
    start = time.perf_counter()
    out = set()
    for x, (id_a, link_a, a) in enumerate(held):
        for id_b, link_b, b in held[x + 1 :]:
            if link_a != link_b:
                said = compare(a, b, False, terms=8, least_points=60, least_residual_db=0.3)
                if said.mean >= 0.965:
                    out.add(frozenset((id_a, id_b)))
    return out, time.perf_counter() - start


def run(sizes: Sequence[int] = (400,), quick: bool = False) -> list[dict[str, Any]]:
    """Figures at some numbers of links. quick: few links, and the result held against all pairs."""
    out = []
    for links in [48] if quick else [s for s in sizes if s <= 100_000]:
        planted = Planted(links, 1).plant(10 if quick else min(200, links // 4))
        found, seconds, _ = detect(planted)
        hit, others = recall(planted, found)
        row: dict[str, Any] = {"what": "copied curves", "links": links, "copies planted": len(planted.plan)}
        row["recall"] = sum(hit[k] * sum(1 for _, kind in planted.plan.values() if kind == k) for k in hit)
        row["recall"] /= len(planted.plan)
        row |= {f"recall, {k}": v for k, v in hit.items()}
        row["not planted"], row["links per second"] = others, links / seconds
        if links <= 400:
            peer, peer_seconds = all_pairs(Planted(links, 1, planted.plan))
            row["agrees with all pairs"] = peer == {frozenset((p.a, p.b)) for p in found.pairs}
            row["speed against all pairs"] = peer_seconds / seconds
        out.append(row)
    return out


THRESHOLDS = (0.90, 0.91, 0.92, 0.93, 0.94, 0.95, 0.96, 0.965, 0.972, 0.98, 0.99)


def curve(links: int, seed: int, copies: int = 200) -> list[dict[str, float]]:
    """Recall against false alarms: at each threshold, the share of planted copies that are told and the pairs of
    different links that are told per link. Copies by kind in turn; noise up to 2 dB, beyond what anybody would add."""
    low = {NEAR: {"least_correlation": THRESHOLDS[0], "part_correlation": 1.0}}
    planted = Planted(links, seed, most_noise=2.0).plant(copies)
    sketches = sketches_for()
    for batch in planted.batches():
        sketches.add(batch)
    found = find(sketches, lambda ids: planted.batches(set(ids)), Policy(tolerances=low))
    number = {key: i for i, key in enumerate(_labels(planted))}
    wanted = {frozenset((t, s)): kind for t, (s, kind) in planted.plan.items()}
    best: dict[frozenset[int], float] = {}
    for p in found.pairs:
        pair = frozenset((number[p.job_a, p.label_a], number[p.job_b, p.label_b]))
        best[pair] = max(best.get(pair, 0.0), p.score)
    # a neighbour of the source of a copy resembles the copy too: it is no pair of two clean links
    touched = set(planted.plan) | {s for s, _ in planted.plan.values()}
    clean = [score for pair, score in best.items() if not pair & touched]
    out = []
    for least in THRESHOLDS:
        told = {pair for pair in wanted if best.get(pair, 0.0) >= least}
        row = {"least": least, "recall": len(told) / len(wanted)}
        for kind in KINDS:
            mine = [pair for pair, k in wanted.items() if k == kind]
            row[kind] = sum(pair in told for pair in mine) / len(mine)
        row["alarms per link"] = sum(s >= least for s in clean) / (links - len(touched))
        out.append(row)
    return out


def main() -> None:
    if sys.argv[3:] == ["curve"]:
        for line in curve(int(sys.argv[1]), int(sys.argv[2])):
            print(json.dumps(line))
        return
    links, seed, planted = int(sys.argv[1]), int(sys.argv[2]), len(sys.argv) > 3
    work = Planted(links, seed)
    if planted:
        work.plant(200)
    found, seconds, processor = detect(work)
    row: dict[str, Any] = {"links": links, "seed": seed, "records": found.compared, "seconds": round(seconds, 1)}
    row["processor seconds"] = round(processor, 1)
    row["peak memory MB"] = round(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024)
    row["pairs"] = len(found.pairs)
    if planted:
        row["recall"], row["not planted"] = recall(work, found)
    row["scores"] = sorted(round(p.score, 4) for p in found.pairs)[:20]
    print(json.dumps(row))


if __name__ == "__main__":
    main()
