"""An archive of simulated links, for the benchmarks of what is written from it."""

from __future__ import annotations

from pathlib import Path

import pyarrow as pa

from archive import store
from archive.answers.intake import statements
from archive.demo.simulator import simulate
from archive.store.deposits import Deposit, DepositFacts
from archive.tables import Batch

JOB = "INVENTED-BOOK"


def archive_of(folder: Path, links: int, seed: int = 7) -> store.Archive:
    """A new archive with one job of so many fully swept links."""
    store.create(folder)
    return with_job(folder, links, seed)


def with_job(folder: Path, links: int, seed: int = 7) -> store.Archive:
    """An archive with one more job of so many fully swept links."""
    opened = store.open(folder)
    making = Deposit(opened, DepositFacts(job=JOB, by="nobody"))
    for batch in statements(map(one_job, simulate(links, seed)), DepositFacts(job=JOB)):
        making.add(batch)
    making.commit()
    return opened


def one_job(batch: Batch) -> Batch:
    """The batch with every record in one job, whatever crew the simulator gave it."""
    records = batch["records"]
    at = records.column_names.index("job_id")
    jobs = pa.array([JOB] * records.num_rows, records.schema.field("job_id").type)
    return batch.replace(records=records.set_column(at, records.schema.field("job_id"), jobs), jobs=batch["jobs"][:0])
