"""XML and JSON: records are members of a tree, and their tables are repeated members below."""

from __future__ import annotations

from collections.abc import Iterator

from archive.formats.mapping.model import Mapping, SourceFile
from archive.formats.mapping.record_chunk import RecordChunk
from archive.formats.mapping.tree import joined, tree_chunks
from archive.formats.recognition import Entry


def chunks(entry: Entry, file: SourceFile, mapping: Mapping) -> Iterator[RecordChunk]:
    """Records of an XML or JSON file: members of a path, or rows that are joined by the label each has.

    Errors: Trouble where it is damaged, or no record is where the mapping says.
    """
    return joined.chunks(entry, file) if file.joins else tree_chunks.chunks(entry, file, mapping)


__all__ = ["chunks"]
