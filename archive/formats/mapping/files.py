"""Reads files by a mapping: from the file to batches."""

from __future__ import annotations

from collections import deque
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import closing
from itertools import chain
from typing import Any

from archive.errors import Trouble
from archive.formats.cable_types import neutral
from archive.formats.mapping import together
from archive.formats.mapping.build import Builder
from archive.formats.mapping.chunks import chunks_of, encoding_of
from archive.formats.mapping.model import Mapping, SourceFile
from archive.formats.mapping.record_chunk import RecordChunk
from archive.formats.mapping.record_rows import ContiguityAssumed, NotContiguous
from archive.formats.mapping.row_frame import named
from archive.formats.recognition import Entry
from archive.parallel import prefetch
from archive.tables import Batch
from archive.tables.order import rebatch
from archive.version import PROGRAM


def read_with(entry: Entry, mapping: Mapping) -> Iterator[Batch]:
    """The batches of one file by a mapping of one file. Errors: Trouble where nothing of it can be read."""
    assumed = ContiguityAssumed()
    made = _read(entry, mapping, assumed)
    held: deque[Batch] = deque()
    try:
        for batch in made:
            held.append(batch)
            if not assumed.open:
                break
    except NotContiguous:
        # Rows of a record stand apart, which is rare: what was made is given up, and the file is read the slower way.
        held.clear()
        made = _read(entry, mapping, None)
    while held:
        yield held.popleft()
    yield from made


def _read(entry: Entry, mapping: Mapping, assumed: ContiguityAssumed | None) -> Iterator[Batch]:
    file = mapping.files[0]
    with closing(prefetch(_of_file(entry, file, mapping, assumed))) as made:
        with ThreadPoolExecutor(1) as pool:  # hashing releases the GIL: it goes on while records are read
            digest = pool.submit(lambda: entry.sha256)
            first = next(made, None)
            digest.result()
        builder = Builder(mapping, _source(entry, file, mapping), entry.set_aside, neutral)
        yield from built(builder, chain([first] if first is not None else [], made))


def _of_file(
    entry: Entry, file: SourceFile, mapping: Mapping, assumed: ContiguityAssumed | None
) -> Iterator[RecordChunk]:
    for chunk in chunks_of(entry, file, mapping, assumed):
        chunk.frames = [named(f, entry.path) for f in chunk.frames]
        yield chunk


def read_several(entry: Entry, mapping: Mapping) -> Iterator[Batch]:
    """The batches of a layout of several files, from the one that holds the identities. Errors: as read_with."""
    others = together.beside(entry, mapping)
    builder = Builder(mapping, _source(entry, mapping.files[0], mapping), entry.set_aside, neutral)
    for file, other in others:
        builder.add_source(_source(other, file, mapping))
    yield from built(builder, together.chunks(entry, mapping, others))


def _source(entry: Entry, file: SourceFile, mapping: Mapping) -> dict[str, Any]:
    """The row of `sources` of a file, but for its account."""
    encoding = encoding_of(entry, file)
    return entry.source(
        layout=mapping.layout,
        mapping_sha256=mapping.digest,
        reader=f"{PROGRAM} {file.kind}",
        encoding=encoding.name if encoding else None,
    )


def built(builder: Builder, chunks: Iterator[RecordChunk]) -> Iterator[Batch]:
    """Batches of chunks; the last one carries the account of the whole file. A file of which nothing became a record
    and nothing was set aside is set aside itself."""
    held: Batch | None = None
    some = False
    for batch in rebatch(builder.batch(c) for c in chunks):
        some = some or bool(len(batch)) or bool(batch["set_aside"].num_rows)
        if held is not None:
            yield held.replace(sources=builder.sources(last=False))
        held = batch
    held = Batch({}) if held is None else held
    if not some:
        held = held.replace(set_aside=builder.nothing())
    yield held.replace(sources=builder.sources(last=True), findings=builder.findings())


def read_by(entry: Entry, mapping: Mapping) -> Iterator[Batch]:
    """The batches of a file, alone or as the one that holds the identities of several. Errors: as read_with."""
    if mapping.alone:
        yield from read_with(entry, mapping)
    elif together.is_lead(entry, mapping):
        yield from read_several(entry, mapping)
    else:
        raise Trouble(
            "the file that names the links is not beside it",
            code="export.lead-missing",
            where=entry.name,
            found=f"one file of the layout {mapping.layout}, which has {len(mapping.files)}",
            expected=f"beside it {mapping.files[0].pattern}",
            remedy="hand in the folder or zip that holds all of them",
        )
