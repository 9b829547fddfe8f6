"""The canonical bytes of a record and its digest.

A record's canonical form is its element in link record XML, as a document subset in W3C Canonical XML 1.0 form:
the namespace declared on the element itself as the default one, the attributes in the order of their names,
the rows inside it in the order of the tables, a line feed after the start tag and after every row.
The writer of the open XML form writes exactly these bytes, so they also stand in the file as they are.
The names of people are never inside: an operator is a key.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterator
from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from archive.tables.batch import Batch
from archive.tables.definition import tables, version
from archive.tables.markup import elements
from archive.tables.order import pieces, positions

POINTS_AT_ONCE = 2_000_000
"""Points turned into text at once: keeps the text in cache and every Arrow string array far below 2 GB."""


def record_bytes(batch: Batch) -> list[bytes]:
    """Canonical bytes of each record, in the order of the records: UTF-8, no line feed at the end.

    Errors: ValueError where a number is NaN or infinite.
    """
    return [r.encode() for part in record_texts(batch) for r in part.to_pylist()]


def record_digests(batch: Batch) -> list[str]:
    """Digest of each record: the name and version of the schema, a colon, the SHA-256 of its canonical bytes."""
    return [digest(text.encode()) for part in record_texts(batch) for text in part.to_pylist()]


def digest(canonical: bytes) -> str:
    """Digest of canonical bytes: `link-record-1:` and 64 hexadecimal digits."""
    return f"link-record-{version()}:{hashlib.sha256(canonical).hexdigest()}"


def record_texts(batch: Batch) -> Iterator[Any]:
    """Canonical text of the records, as Arrow string arrays, a part of the batch at a time."""
    for part in pieces(batch, POINTS_AT_ONCE):
        if len(part):
            yield texts_of(part)


def texts_of(batch: Batch) -> Any:
    """Canonical text of the records of a batch that is in order and small (POINTS_AT_ONCE)."""
    count = len(batch)
    everyone = np.arange(count)
    lines = [(everyone, elements("records", batch["records"], ended=False))]
    for name, table in tables().items():
        if table.level != "record" or name == "records" or not batch[name].num_rows:
            continue
        where = positions(batch, name)
        if where[-1] >= count:
            raise ValueError(f"a row of {name} names a record that is not in the batch")
        lines.append((where, elements(name, batch[name], leave_out=("record_id",))))
    lines.append((everyone, pa.array([f"</{tables()['records'].row}>"] * count, type=pa.string())))
    return gathered(lines, count)


def gathered(lines: list[tuple[Any, Any]], count: int) -> Any:
    """Lines put together by record: one string for each of `count` records, its lines joined by line feeds.

    lines: pairs of each line's record (int64 ndarray) and its text (Arrow string array).
    """
    where = np.concatenate([at for at, _ in lines])
    offsets = np.zeros(count + 1, dtype=np.int32)
    np.cumsum(np.bincount(where, minlength=count), out=offsets[1:])
    flat = pa.concat_arrays([t.combine_chunks() if isinstance(t, pa.ChunkedArray) else t for _, t in lines])
    ranked = flat.take(pa.array(np.argsort(where, kind="stable")))
    return pc.binary_join(pa.ListArray.from_arrays(pa.array(offsets), ranked), "\n")
