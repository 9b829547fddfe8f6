"""The records of one file: its text in its encoding, its sheets or its tree, as chunks by a mapping."""

from __future__ import annotations

import codecs
from collections.abc import Iterator
from functools import lru_cache
from pathlib import Path

from archive.formats.base import text as texts
from archive.formats.base.workbook import sheets
from archive.formats.mapping import rows, tree
from archive.formats.mapping.model import Mapping, SourceFile
from archive.formats.mapping.record_chunk import RecordChunk
from archive.formats.mapping.record_rows import ContiguityAssumed
from archive.formats.recognition import Entry

TEXT = ("delimited", "report")


def encoding_of(entry: Entry, file: SourceFile) -> texts.Encoding | None:
    """The encoding of a text file; None for workbooks, XML and JSON, which say it themselves."""
    if file.kind not in TEXT:
        return None
    return text_encoding(entry, file.encoding)


def text_encoding(entry: Entry, declared: str) -> texts.Encoding:
    """The encoding of a text; UTF-8 is believed only where the whole file is."""
    head = entry.head
    found = texts.detect(head, declared, whole=entry.size <= len(head))
    unproved = found.name == "utf-8" and found.basis != "byte order mark" and entry.size > len(head) and not declared
    if not unproved:
        return found
    stat = entry.path.stat()
    other = _not_utf8(entry.path, stat.st_size, stat.st_mtime_ns)
    return found if other is None else texts.detect(other, whole=True)


@lru_cache(maxsize=8)
def _not_utf8(path: Path, size: int, time: int) -> bytes | None:
    """Bytes around the first that do not fit UTF-8, None where all do; looked at once, as long as the file stays as it
    is."""
    del size, time
    decoder = codecs.getincrementaldecoder("utf-8")()
    with path.open("rb") as opened:
        while block := opened.read(texts.BLOCK):
            if block.isascii() and not decoder.getstate()[0]:
                continue
            try:
                decoder.decode(block)
            except UnicodeDecodeError as error:
                data: bytes = error.object
                return data[max(0, error.start - _AROUND) : error.start + _AROUND]
    return None


_AROUND = 1 << 16


def chunks_of(
    entry: Entry, file: SourceFile, mapping: Mapping, assumed: ContiguityAssumed | None = None
) -> Iterator[RecordChunk]:
    """The records of a file. Errors: Trouble; NotContiguous, as `assumed` says."""
    if file.kind == "delimited" and _plain(file):
        yield from rows.table_chunks(text_blocks(entry, file), file, mapping, entry.name, assumed)
    elif file.kind in TEXT:
        yield from rows.text_chunks(text_blocks(entry, file), file, mapping)
    elif file.kind == "workbook":
        yield from rows.sheet_chunks(sheets(entry), file, mapping)
    else:
        yield from tree.chunks(entry, file, mapping)


def _plain(file: SourceFile) -> bool:
    """One table under an optional head, and nothing else: read without looking at single lines."""
    tables = [t for t in file.tables if t.rows != "labels"]
    if len(tables) != 1 or file.block or file.side_by_side or file.transpose:
        return False
    return not tables[0].widths and tables[0].headings_are != "links"


def text_blocks(entry: Entry, file: SourceFile) -> Iterator[bytes]:
    """The text of a file as UTF-8 blocks."""
    encoding = text_encoding(entry, file.encoding)
    with entry.path.open("rb") as opened:
        yield from texts.utf8_blocks(opened, encoding, entry.name, texts.BLOCK)
