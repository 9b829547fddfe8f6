"""The claim file: time beyond imports against the two seconds that were set, and a picture against matplotlib's.

Set: a link with 6 records and some 20 panels in under 2 s. The peer is what a person would reach for: the same curves
as lines of a matplotlib figure, saved as SVG, without shade, ring and legend.
"""

from __future__ import annotations

import datetime as dt
import io
import statistics
import tempfile
import time
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

from archive import store
from archive.answers.claim.claim_folder import write
from archive.answers.claim.curve_figures import curves_of, figures, line_of
from archive.answers.claim.gather import gather
from archive.answers.intake import statements
from archive.answers.wording import ENGLISH
from archive.demo.simulator import simulate
from archive.store.deposits import Deposit, DepositFacts
from archive.tables import Batch
from tests.benchmarks._archive import JOB, one_job

SET, RECORDS, LABEL = 2.0, 6, "INVENTED-1"


def archive_of_one_link(folder: Path, records: int = RECORDS) -> store.Archive:
    """A link that was tested again and again, a day after the other, among others."""
    store.create(folder)
    opened = store.open(folder)
    making = Deposit(opened, DepositFacts(job=JOB, by="nobody"))
    for batch in statements(map(_same_link, simulate(records, 3)), DepositFacts(job=JOB)):
        making.add(batch)
    making.commit()
    return opened


def _same_link(batch: Batch) -> Batch:
    rows = one_job(batch)["records"].to_pylist()
    for n, row in enumerate(rows):
        day = dt.datetime(2024, 6, 1 + n, 9, 0).isoformat()
        row |= {"link_label": LABEL, "tested_local": day, "tested_found": day, "tested_at": None}
        row |= {"utc_offset_min": None, "zone_basis": None}
    return batch.replace(records=Batch.from_rows({"records": rows})["records"], jobs=batch["jobs"][:0])


def run(sizes: Sequence[int], quick: bool) -> list[dict[str, Any]]:
    """Two rows: the whole file, one picture."""
    times = 1 if quick else 5
    with tempfile.TemporaryDirectory() as name:
        place = Path(name)
        opened = archive_of_one_link(place / "archive")
        facts = gather(opened, LABEL)[0]

        def whole(n: int) -> None:
            found, kept = gather(opened, LABEL)
            write(found, kept, place / f"out-{n}")

        took = _median(times, whole)
        standing = facts.standing
        assert standing is not None and standing.curves is not None
        limit = standing.grades("tia-568.2-d/cat6a/permanent-link")
        line = line_of("tia-568.2-d/cat6a/permanent-link")
        batch = standing.curves
        ours = _median(times, lambda _: figures(batch, limit, line, ENGLISH, only=("next",)))
        theirs = _median(times, lambda _: matplotlib_script(batch))
    return [
        {"what": "claim file", "records": len(facts.tests), "seconds": took, "of the time set": took / SET},
        {"what": "one picture (NEXT)", "seconds": ours, "against matplotlib": ours / theirs},
    ]


def matplotlib_script(batch: Batch) -> str:
    """The peer: both ends of NEXT as lines, saved as SVG."""
    import matplotlib

    matplotlib.use("svg")
    from matplotlib import pyplot as plt

    figure, axes = plt.subplots(1, 2, figsize=(9, 4), sharey=True)
    for axis, curves in zip(axes, curves_of(batch)["next"].values(), strict=True):
        for curve in curves:
            axis.plot(curve.x, curve.y, label=curve.label)
        axis.set_xscale("log")
        axis.legend()
    out = io.StringIO()
    figure.savefig(out, format="svg")
    plt.close(figure)
    return out.getvalue()


def _median(times: int, work: Callable[[int], object]) -> float:
    took = []
    for n in range(times + 1):  # the first one warms up
        began = time.perf_counter()
        work(n)
        took.append(time.perf_counter() - began)
    return statistics.median(took[1:])
