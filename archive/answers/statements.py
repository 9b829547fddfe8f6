"""What this program says of records that come in: findings, grades, verdicts; said here or by other processes."""

from __future__ import annotations

from collections import deque
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from archive import grading
from archive.answers.kept_calibrations import KeptCalibrations
from archive.errors import Trouble
from archive.formats.reading import Elsewhere
from archive.spread import Lost, in_order
from archive.tables import Batch
from archive.tables.streams import read_batches, write_batches
from archive.validation.check import run


def looked_at(batch: Batch, policy: Any, kept: KeptCalibrations | None = None) -> Batch:
    """A batch with findings, grades and verdicts. policy: severities and tolerances. kept: calibrations that the rules
    are to look at as well."""
    batch = grading.grade(batch)
    # the findings of the readers are among those of check, which holds the verdicts against the instrument's too
    return batch.replace(findings=run(batch if kept is None else kept.beside(batch), policy).findings)


@dataclass(frozen=True)
class BatchToLookAt:
    """A file with one batch."""

    path: Path
    policy: Any = field(repr=False)
    kept: KeptCalibrations | None = field(default=None, repr=False)


def said_of(piece: BatchToLookAt) -> dict[str, Any]:
    """The tables in which a batch differs when it has been looked at, wherever this runs."""
    (batch,) = read_batches(piece.path)
    made = looked_at(batch, piece.policy, piece.kept)
    return {name: table for name, table in made.items() if table is not batch[name]}


def looked_at_elsewhere(
    batches: Iterable[Batch], policy: Any, elsewhere: Elsewhere, kept: KeptCalibrations | None = None
) -> Iterator[Batch]:
    """The same batches in their order, looked at by workers; each waits in a file meanwhile."""
    waiting: deque[Path] = deque()

    def pieces() -> Iterator[tuple[int, BatchToLookAt]]:
        for number, batch in enumerate(batches):
            path = elsewhere.folder / f"batch-{number:07d}"
            write_batches(path, [batch])
            waiting.append(path)
            yield number, BatchToLookAt(path, policy, kept)

    for worked in in_order(elsewhere.workers.finished(said_of, pieces())):
        path = waiting.popleft()
        (batch,) = read_batches(path)
        if isinstance(worked, Lost):
            raise Trouble(
                "every worker that looked at these records ended: it took too much memory, or a library failed",
                code="deposit.worker-lost",
                where=", ".join(p for p in batch["sources"]["path"].to_pylist() if p),
                remedy="hand them in alone, without workers; nothing was deposited",
            )
        yield batch.replace(**worked.made)
        path.unlink()
