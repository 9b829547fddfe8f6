"""A layout of several files: the identities in one, curves in others beside it, joined by their keys."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from fnmatch import fnmatch
from pathlib import Path

import numpy as np
import pyarrow as pa

from archive.errors import Trouble
from archive.formats.mapping.chunks import chunks_of
from archive.formats.mapping.file_index import FileIndex
from archive.formats.mapping.join import Counts, Key, join, key_names, keys_of
from archive.formats.mapping.model import Mapping, SourceFile
from archive.formats.mapping.record_chunk import RecordChunk
from archive.formats.mapping.record_rows import KEYS
from archive.formats.mapping.row_frame import RowFrame, named
from archive.formats.recognition import Entry

MOST_HELD = 1 << 28
"""Bytes of files that are joined in memory; larger ones must stand in the order of the first file."""


def lead(mapping: Mapping) -> SourceFile:
    """The file that a reading of several files begins with: the first one."""
    return mapping.files[0]


def is_lead(entry: Entry, mapping: Mapping) -> bool:
    """Whether a file is the one that holds the identities."""
    return fits(entry.path, lead(mapping))


def fits(path: Path, file: SourceFile) -> bool:
    """Whether a file's name is that of a pattern (of its last folders, as many as the pattern has)."""
    depth = file.pattern.count("/") + 1
    return fnmatch("/".join(path.parts[-depth:]).lower(), file.pattern.lower())


def beside(entry: Entry, mapping: Mapping) -> list[tuple[SourceFile, Entry]]:
    """The other files of a reading, by the patterns of the mapping, from the folder of the first."""
    out: list[tuple[SourceFile, Entry]] = []
    base = entry.name.removesuffix(entry.path.name)
    for file in mapping.files[1:]:
        for path in sorted(entry.path.parent.glob(file.pattern)):
            if path.is_file() and not path.is_symlink() and path != entry.path:
                out.append((file, Entry(path, base + path.relative_to(entry.path.parent).as_posix())))
    return out


def chunks(entry: Entry, mapping: Mapping, others: list[tuple[SourceFile, Entry]]) -> Iterator[RecordChunk]:
    """Records of several files. Errors: Trouble where one cannot be read."""
    own = Counts()
    first = _frames(chunks_of(entry, lead(mapping), mapping), entry, own)
    index = FileIndex(first, others, entry.path.parent)
    own.torn |= index.problems
    if sum(e.size for _, e in others) <= MOST_HELD:
        frames = [("", f) for f in first]
        for file, other in others:
            frames += [
                (f"{other.path.name}, ", f) for f in _frames(chunks_of(other, file, mapping), other, index=index)
            ]
        yield from join(frames, own)
        return
    yield from _streamed(first, mapping, others, own, index)


def _frames(
    found: Iterator[RecordChunk], entry: Entry, own: Counts | None = None, index: FileIndex | None = None
) -> list[RowFrame]:
    """All frames of a file, its rows only; the cells of each are counted for its own source. own: takes the counts of
    cells that the reader made itself, and then records are numbered through the file. index: of the first file, for
    those beside it."""
    out: list[RowFrame] = []
    base = 0
    for chunk in found:
        for frame in _with_keys(chunk.frames):
            frame.source = entry.sha256
            if not frame.shared and frame.rows:
                if frame.place is None:
                    frame = replace(frame, place=frame.record + base + 1, noun="record")
                made = named(replace(frame, record=frame.record + base), entry.path)
                out.append(made if index is None else index.keyed(made, entry))
        if own is not None:
            own.add(chunk, base)
        base += len(chunk.places)
    return out


def _with_keys(frames: Sequence[RowFrame]) -> list[RowFrame]:
    """Frames of which each has the keys that stand as labels above its rows, such as the link of a file of curves."""
    out = list(frames)
    for labels in [f for f in frames if f.table.rows == "labels" and not f.shared and f.rows]:
        for key in labels.table.fields:
            if key.to.table != "records" or key.to.name not in KEYS or key.source not in labels.columns:
                continue
            for i, frame in enumerate(out):
                if frame.table.rows == "labels" or any(f.to == key.to for f in frame.table.fields):
                    continue
                at = pa.array(np.searchsorted(labels.record, frame.record))
                out[i] = replace(
                    frame,
                    columns={**frame.columns, key.source: labels.columns[key.source].take(at)},
                    table=replace(frame.table, fields=(*frame.table.fields, key)),
                    uncounted=frame.uncounted | {key.source},
                )
    return out


def _streamed(
    first: list[RowFrame],
    mapping: Mapping,
    others: list[tuple[SourceFile, Entry]],
    own: Counts,
    index: FileIndex,
) -> Iterator[RecordChunk]:
    """Records in the order of the first file; each of the others is read along with it."""
    tables = [f.table for f in first] + [t for file, _ in others for t in file.tables if t.rows != "labels"]
    names = key_names(tables)
    order: dict[Key, int] = {}
    for frame in first:
        for key in keys_of(frame, names) or []:
            order.setdefault(key, len(order))
    streams = [_Stream(chunks_of(e, file, mapping), e, names, (order, index)) for file, e in others]
    for at in range(0, max(1, len(order)), 200):
        stop = min(at + 200, len(order))
        part = [("", f) for f in _between(first, names, order, at, stop)]
        for stream in streams:
            part += [(f"{stream.entry.path.name}, ", f) for f in stream.until(stop)]
        yield from join(part, own)


def _between(frames: list[RowFrame], names: list[str], order: dict[Key, int], at: int, stop: int) -> list[RowFrame]:
    out = []
    for frame in frames:
        keys = keys_of(frame, names) or []
        rows = np.array([i for i, k in enumerate(keys) if at <= order.get(k, -1) < stop], dtype=np.int64)
        if len(rows):
            out.append(frame.only(rows))
    return out


class _Stream:
    """One file that is read along: frames up to a place in the order of the first file."""

    def __init__(
        self, found: Iterator[RecordChunk], entry: Entry, names: list[str], of: tuple[dict[Key, int], FileIndex]
    ) -> None:
        self.entry = entry
        self._found, self._names, (self._order, self._index) = found, names, of
        self._held: list[tuple[int, int, RowFrame]] = []
        self._last = -1

    def until(self, stop: int) -> list[RowFrame]:
        """Frames of the records before a place. Errors: Trouble where the file stands in another order."""
        while self._last < stop:
            chunk = next(self._found, None)
            if chunk is None:
                self._last = 1 << 60
                break
            for frame in _with_keys(chunk.frames):
                if frame.rows and not frame.shared:
                    self._take(frame)
        ready = [f for low, _, f in self._held if low < stop]
        self._held = [h for h in self._held if h[0] >= stop]
        return ready

    def _take(self, frame: RowFrame) -> None:
        frame = self._index.keyed(named(frame, self.entry.path), self.entry)
        frame.source = self.entry.sha256
        keys = keys_of(frame, self._names) or []
        places = np.array([self._order.get(k, -1) for k in dict.fromkeys(keys)])
        if (places < 0).any() or (np.diff(places) < 0).any() or places[0] < self._last:
            raise Trouble(
                "a large file stands in another order than the file of identities",
                code="export.order-differs",
                where=self.entry.name,
                found=", ".join(k or "" for k in keys[0]),
                expected="the same links in the same order",
                remedy="sort both by the link, or hand in smaller parts",
            )
        # A frame may reach over the next place: it is cut there.
        row_place = np.array([self._order[k] for k in keys])
        for low in range(int(places[0]) // 200 * 200, int(places[-1]) + 1, 200):
            rows = np.flatnonzero((row_place >= low) & (row_place < low + 200))
            if len(rows):
                self._held.append((int(row_place[rows[0]]), int(row_place[rows[-1]]), frame.only(rows)))
        self._last = int(places[-1])
