"""The canonical bytes of a record and its digest.

A record's canonical form is its element in link record XML, as a document subset in W3C Canonical XML 1.0 form:
the namespace declared on the element itself as the default one, the attributes in the order of their names,
the rows inside it in the order of the tables, a line feed after the start tag and after every row.
The writer of the open XML form writes exactly these bytes, so they are in the file unchanged.
The names of people are never inside: an operator is a key.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterator
from itertools import pairwise

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from archive.tables.arrow import Ints, one_chunk
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
    """Digest of each record: the name and version of the schema, a colon, the SHA-256 of its canonical bytes.

    Errors: ValueError where a number is NaN or infinite.
    """
    return [d for part in pieces(batch, POINTS_AT_ONCE) if len(part) for d in _digests(part)]


def digest(canonical: bytes) -> str:
    """Digest of canonical bytes: `link-record-1:` and 64 hexadecimal digits."""
    return f"link-record-{version()}:{hashlib.sha256(canonical).hexdigest()}"


def _digests(batch: Batch) -> Iterator[str]:
    """Digests of a batch that is in order: each record's rows are digested in place, nothing is copied.

    Rows of one record follow one another in the text of their table, each with its line feed, so what a table
    adds to a record's canonical bytes is one stretch of that text.
    """
    count = len(batch)
    shas = [hashlib.sha256() for _ in range(count)]
    for where, lines in _lines(batch, "\n"):
        data, offsets = lines.buffers()[2], np.frombuffer(lines.buffers()[1], dtype=np.int32)
        ends = offsets[lines.offset :][np.searchsorted(where, np.arange(count + 1))].tolist()
        text = memoryview(data)
        for sha, (low, high) in zip(shas, pairwise(ends), strict=True):
            if high > low:
                sha.update(text[low:high])
    end = _end().encode()
    for sha in shas:
        sha.update(end)
        yield f"link-record-{version()}:{sha.hexdigest()}"


def _lines(batch: Batch, after: str = "") -> Iterator[tuple[Ints, pa.Array]]:
    """Start tags of the records and rows of the tables inside them, table by table: the record of each, its text."""
    count = len(batch)
    yield np.arange(count), elements("records", batch["records"], ended=False, after=after)
    for name, table in tables().items():
        if table.level != "record" or name == "records" or not batch[name].num_rows:
            continue
        where = positions(batch, name)
        if where[-1] >= count:
            raise ValueError(f"a row of {name} names a record that is not in the batch")
        yield where, one_chunk(elements(name, batch[name], leave_out=("record_id",), after=after))


def _end() -> str:
    return f"</{tables()['records'].row}>"


def record_texts(batch: Batch) -> Iterator[pa.Array]:
    """Canonical text of the records, as Arrow string arrays, a part of the batch at a time."""
    for part in pieces(batch, POINTS_AT_ONCE):
        if len(part):
            yield texts_of(part)


def texts_of(batch: Batch) -> pa.Array:
    """Canonical text of the records of a batch that is in order and small (POINTS_AT_ONCE)."""
    count = len(batch)
    return gathered([*_lines(batch), (np.arange(count), pa.array([_end()] * count, type=pa.string()))], count)


def gathered(lines: list[tuple[Ints, pa.Array]], count: int) -> pa.Array:
    """Lines put together by record: one string for each of `count` records, its lines joined by line feeds.

    lines: pairs of each line's record and its text (Arrow string array).
    """
    where = np.concatenate([at for at, _ in lines])
    offsets = np.zeros(count + 1, dtype=np.int32)
    np.cumsum(np.bincount(where, minlength=count), out=offsets[1:])
    flat = pa.concat_arrays([one_chunk(t) for _, t in lines])
    ranked = flat.take(pa.array(np.argsort(where, kind="stable")))
    return pc.binary_join(pa.ListArray.from_arrays(pa.array(offsets), ranked), "\n")
