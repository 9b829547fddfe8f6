"""Grading many bags by one process, by two, by two workers of a Dask cluster, and by bare multiprocessing.

The bags are simulated, as many records as a crew hands in in a week, fully swept. The same function grades the same
pieces in all of them; what starting workers takes is left out, as a long run begins once. `of_bare`: time against
concurrent.futures over the same pieces with two processes, the overhead of the engine; `times_one`: speed against one
process. On a machine that does other things these are pessimistic.
"""

from __future__ import annotations

import os
import tempfile
import time
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import ProcessPoolExecutor
from functools import partial
from itertools import islice
from multiprocessing import get_context
from pathlib import Path
from typing import Any

from archive import store
from archive.answers.intake import statements
from archive.answers.regrade import _Against, _graded
from archive.demo.simulator import simulate
from archive.spread import Cluster, Here, Processes, Workers
from archive.store.assessments import records_to_grade
from archive.store.catalogue.filters import Filters, addresses
from archive.store.deposits import Deposit, DepositFacts
from archive.tables import Batch
from tests.benchmarks._archive import one_job

RECORDS_PER_BAG = 128


def run(quick: bool) -> list[dict[str, Any]]:
    """One row per way."""
    bags = 4 if quick else 48
    with tempfile.TemporaryDirectory(prefix="muniment-bench-") as name:
        os.environ["MUNIMENT_CACHE"] = f"{name}/cache"
        archive = _made(Path(name) / "archive", bags, 8 if quick else RECORDS_PER_BAG)
        archive.catch_up()
        pieces = records_to_grade(archive, addresses(archive.db, Filters(), counted=True), _Against(None, ()))
        ways: dict[str, Callable[[], Iterator[Any]]] = {
            "one process": partial(_by, Here(), pieces),
            "bare multiprocessing, 2": partial(_bare, pieces),
            "--workers 2": partial(_by, Processes(2), pieces),
        }
        rows = [_timed(what, way, len(pieces)) for what, way in ways.items()]
        rows.append(_on_cluster(pieces))
    bare, one = rows[1]["seconds"], rows[0]["seconds"]
    said = {r["results"] for r in rows}
    return [
        {
            **r,
            "of_bare": round(r["seconds"] / bare, 2),
            "times_one": round(one / r["seconds"], 2),
            "agree": len(said) == 1,
        }
        for r in rows
    ]


def _made(place: Path, bags: int, records: int) -> store.Archive:
    archive = store.create(place)
    facts = DepositFacts(job="BENCH", by="nobody")
    batches = statements(map(one_job, simulate(bags * records, 7)), facts)
    whole = (
        b.select(b["records"]["record_id"].to_pylist()[n : n + records])
        for b in batches
        for n in range(0, len(b), records)
    )
    for batch in islice(whole, bags):
        making = Deposit(archive, facts)
        making.add(batch)
        making.commit()
    return archive


def _cut(batches: Iterable[Batch], records: int) -> Iterator[Batch]:
    for batch in batches:
        ids = batch["records"]["record_id"].to_pylist()
        yield from (batch.select(ids[n : n + records]) for n in range(0, len(ids), records))


def _by(workers: Workers, pieces: list[Any]) -> Iterator[Any]:
    for _, worked in workers.finished(_graded, enumerate(pieces)):
        yield worked.made  # type: ignore[union-attr]


def _bare(pieces: list[Any]) -> Iterator[Any]:
    with ProcessPoolExecutor(2, mp_context=get_context("spawn")) as pool:
        yield from pool.map(_graded, pieces)


def _on_cluster(pieces: list[Any]) -> dict[str, Any]:
    from distributed import LocalCluster

    with LocalCluster(
        n_workers=2, threads_per_worker=1, host="127.0.0.1", dashboard_address=None, silence_logs=50
    ) as cluster:
        return _timed("--scheduler, 2 workers", partial(_by, Cluster(cluster.scheduler_address), pieces), len(pieces))


def _timed(what: str, way: Callable[[], Iterator[Any]], pieces: int) -> dict[str, Any]:
    """Time from the first result to the last, of all pieces but one: what starting takes is left out."""
    results = way()
    rows = sum(part["verdicts"].num_rows for part in next(results))
    began = time.perf_counter()
    for made in results:
        rows += sum(part["verdicts"].num_rows for part in made)
    taken = (time.perf_counter() - began) / (pieces - 1)
    return {"what": what, "pieces": pieces, "results": rows, "seconds": taken, "ms_a_piece": round(taken * 1e3, 1)}
