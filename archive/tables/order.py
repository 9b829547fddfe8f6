"""Batches put in order, joined and cut: rows are in the order of their records."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from archive.tables.arrow import Ints, one_chunk, rows_of
from archive.tables.batch import MOST_RECORDS, Batch
from archive.tables.definition import no_rows, tables
from archive.tables.markup import elements

MOST_BYTES = 32_000_000
"""Bytes of curves that one batch should hold at most, so that memory stays bounded; one record may hold more."""


def positions(batch: Batch, name: str) -> Ints:
    """For each row of a table its record's position in the batch (rows,); rows of no record come last."""
    return rows_of(batch[name].column("record_id"), batch["records"].column("record_id"), absent=len(batch))


def ordered(batch: Batch) -> Batch:
    """The same batch with the rows of every table in the order of the records; a table in order is kept as it is.

    Statements that name no record of the batch come last. Among the rows of one record the order stays.
    """
    changed = {}
    for name, table in batch.items():
        if name == "records" or "record_id" not in table.column_names or not table.num_rows:
            continue
        at = positions(batch, name)
        if (at[1:] < at[:-1]).any():
            changed[name] = table.take(pa.array(np.argsort(at, kind="stable")))
    return batch.replace(**changed) if changed else batch


def cut(batch: Batch, start: int, stop: int) -> Batch:
    """Records start to stop of a batch that is in order, with their rows and statements; shared rows stay.

    Statements of no record go with the last record.
    """
    out: dict[str, pa.Table] = {}
    for name, table in batch.items():
        if name == "records":
            out[name] = table.slice(start, stop - start)
        elif "record_id" in table.column_names:
            at = positions(batch, name)
            low = int(np.searchsorted(at, start))
            high = len(at) if stop >= len(batch) else int(np.searchsorted(at, stop))
            out[name] = table.slice(low, high - low)
        elif tables()[name].level == "statement":
            out[name] = table if stop >= len(batch) else table.slice(0, 0)
        else:
            out[name] = table
    return Batch(out)


def pieces(batch: Batch, points: int = MOST_BYTES // 8) -> Iterator[Batch]:
    """A batch in order, cut where its curves hold more than so many points."""
    batch = ordered(batch)
    lengths = pc.list_value_length(batch["sweeps"].column("values")).to_numpy()
    if lengths.sum() <= points:
        yield batch
        return
    per_record = np.bincount(positions(batch, "sweeps"), weights=lengths, minlength=len(batch) + 1)
    start, held = 0, 0.0
    for i in range(len(batch)):
        if held and held + per_record[i] > points:
            yield cut(batch, start, i)
            start, held = i, 0.0
        held += per_record[i]
    yield cut(batch, start, len(batch))


def concat(batches: Iterable[Batch]) -> Batch:
    """Batches joined into one; a shared row that several of them have is kept once.

    Errors: ValueError where they hold more than MOST_RECORDS records together.
    """
    listed = list(batches)
    if len(listed) == 1:
        return listed[0]
    out: dict[str, pa.Table] = {}
    for name, table in tables().items():
        joined = pa.concat_tables([b[name] for b in listed]) if listed else no_rows(name)
        out[name] = distinct_rows(name, joined) if table.level == "shared" else joined
    return Batch(out)


def distinct_rows(name: str, table: pa.Table) -> pa.Table:
    """A shared table with each row once, in the order of first appearance."""
    if table.num_rows < 2:
        return table
    key = tables()[name].key
    if pc.count_distinct(table.column(key)).as_py() == table.num_rows:
        return table
    # The id of an axis follows from its content, so comparing the key is enough; elsewhere whole rows are compared.
    same = table.column(key) if name == "axes" else elements(name, table)
    codes = pc.dictionary_encode(one_chunk(same)).indices
    first = np.unique(codes.to_numpy(), return_index=True)[1]
    return table if len(first) == table.num_rows else table.take(pa.array(np.sort(first)))


def rebatch(batches: Iterable[Batch]) -> Iterator[Batch]:
    """Small batches joined into fuller ones, within MOST_RECORDS and about MOST_BYTES. No batch is cut."""
    held: list[Batch] = []
    records = size = 0
    for batch in batches:
        more = int(batch["sweeps"].nbytes)
        if held and (records + len(batch) > MOST_RECORDS or size + more > MOST_BYTES):
            yield concat(held)
            held, records, size = [], 0, 0
        held.append(batch)
        records, size = records + len(batch), size + more
        if records >= MOST_RECORDS or size >= MOST_BYTES:
            yield concat(held)
            held, records, size = [], 0, 0
    if held:
        yield concat(held)
