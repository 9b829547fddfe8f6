"""Grading that costs a record its verdict, and no other record anything, where a bug of this program strikes it."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from functools import wraps
from typing import Concatenate, ParamSpec

import numpy as np
import pyarrow as pa

from archive import limits
from archive.grading.grade_rows import as_table, repeated
from archive.isolation import NOT_GRADED, ProgramFault, isolated
from archive.tables import Batch
from archive.version import PROGRAM

Options = ParamSpec("Options")
Grade = Callable[Concatenate[Batch, Options], Batch]


def unfailing(grade: Grade[Options]) -> Grade[Options]:
    """A function that grades batches, so that a record on which it fails is not graded, with the bug as the reason."""

    @wraps(grade)
    def graded(batch: Batch, /, *args: Options.args, **options: Options.kwargs) -> Batch:
        ids = batch["records"].column("record_id").to_pylist()

        def work(some: Sequence[str]) -> Batch:
            return grade(batch if len(some) == len(ids) else batch.select(some), *args, **options)

        parts = []
        for some, made in isolated(ids, work, "grading"):
            if len(some) == len(ids) and isinstance(made, Batch):
                return made
            parts.append(made if isinstance(made, Batch) else _failed(batch.select(some), made))
        return batch.replace(**{n: pa.concat_tables([p[n] for p in parts]) for n in ("grades", "verdicts")})

    return graded


def _failed(batch: Batch, fault: ProgramFault) -> Batch:
    """Records that could not be graded by a bug: a verdict "not graded" each."""
    records, count = batch["records"], len(batch)
    columns = {name: records.column(name).combine_chunks() for name in ("record_id", "link_label", "limit_found")}
    columns |= {
        "verdict": repeated("not graded", count),
        "reason": repeated(f"{NOT_GRADED}{fault.where}: {fault.what}", count),
        "provisional": pa.array(np.zeros(count, np.bool_)),
        "limits_version": repeated(limits.version(), count),
        "program": repeated(PROGRAM, count),
    }
    return batch.replace(grades=batch["grades"].slice(0, 0), verdicts=as_table("verdicts", columns, count))
