"""Chunks of text with blocks or several tables, and of sheets."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from typing import TypeAlias

import numpy as np
import pyarrow as pa

from archive.formats.base import text as texts
from archive.formats.base.uncollected import uncollected
from archive.formats.mapping.join import join
from archive.formats.mapping.model import Mapping, SourceFile, SourceTable
from archive.formats.mapping.record_chunk import RecordChunk
from archive.formats.mapping.record_rows import KEYS
from archive.formats.mapping.row_frame import RowFrame, say_rows
from archive.formats.mapping.rows.blocks import RowBlock, blocks, stripes, transposed
from archive.formats.mapping.rows.cutter import Cutter, ParsedBlock, TableSection
from archive.formats.mapping.rows.frames import label_frame, label_table, section_frames
from archive.formats.mapping.rows.text_rows import (
    Cell,
    RawRow,
    Row,
    Splitter,
    lines_of,
    logical_lines,
    mark_of,
    placed,
    spans,
    splitter,
)

MOST_BYTES = 1 << 24
"""Text of blocks gathered for one chunk."""
MOST_BLOCKS = 500

Sheet: TypeAlias = tuple[str, Sequence[RawRow]]
"""Name of a sheet ("" where it has none), and its rows."""


def text_chunks(source: Iterator[bytes], file: SourceFile, mapping: Mapping) -> Iterator[RecordChunk]:
    """Records of a text. source: its bytes as UTF-8."""
    split = splitter(file)
    quote = file.quote if file.kind == "delimited" else ""
    rows = (line.text for line in logical_lines(texts.lines(source), file.delimiter, quote))
    reader = _GridReader(file, mapping, split, "line")
    if file.side_by_side or file.transpose:
        yield from reader.sheets([("", part) for part in _parts_beside(_ruled(list(rows), file, split), file)])
    elif file.block == "file":
        yield reader.chunk(_one_record(Cutter(file, split, noun="line").cut(list(rows), 1)), [])
    elif not file.block:
        yield from reader.tables([("", Cutter(file, split, noun="line").cut(list(rows), 1))])
    else:
        yield from reader.streamed(blocks(rows, file, split))


def _ruled(lines: list[str], file: SourceFile, split: Splitter) -> list[Row]:
    """Lines as cells. Those of an aligned text that leave cells out stand below the cells of the fullest line."""
    cut = [split(line) for line in lines]
    if mark_of(file) != "blanks" or not cut:
        return cut
    most = max(range(len(cut)), key=lambda i: len(cut[i]))
    ruler = spans(lines[most])
    few = [1 < len(row) < len(ruler) for row in cut]
    return [placed(line, ruler) or row if f else row for line, row, f in zip(lines, cut, few, strict=True)]


def sheet_chunks(
    sheets: Iterable[tuple[str, list[list[Cell]]]], file: SourceFile, mapping: Mapping
) -> Iterator[RecordChunk]:
    """Records of sheets: pairs of the sheet's name and its rows."""
    made: list[Sheet] = [(name, part) for name, rows in sheets for part in _parts_beside(rows, file)]
    yield from _GridReader(file, mapping, splitter(file), "row").sheets(made)


def _parts_beside(rows: Sequence[Sequence[Cell]], file: SourceFile) -> Sequence[Sequence[Sequence[Cell]]]:
    """The grids that a mapping sees in one: turned, and cut where blocks stand beside each other."""
    turned = transposed(rows) if file.transpose else rows
    return stripes(turned, file.side_by_side) if file.side_by_side else [turned]


@dataclass
class _HeldBlocks:
    """Blocks on their way to a chunk: their rows, the first and last row of each in the file ((0, 0) where that says
    nothing); `of` says which record each block belongs to."""

    parsed: list[ParsedBlock] = field(default_factory=list)
    raw: list[Sequence[RawRow]] = field(default_factory=list)
    spans: list[tuple[int, int]] = field(default_factory=list)
    of: list[int] = field(default_factory=list)
    keys: list[object] = field(default_factory=list)
    size: int = 0


def _one_record(parsed: ParsedBlock) -> _HeldBlocks:
    """A file that is one record."""
    return _HeldBlocks([parsed], [[]], [(0, 0)], [0])


class _GridReader:
    """Makes chunks of the blocks and tables of one file. noun: what its rows are called in places."""

    def __init__(self, file: SourceFile, mapping: Mapping, split: Splitter, noun: str) -> None:
        self._file, self._mapping, self._split, self._noun = file, mapping, split, noun
        self._labels = label_table(file)
        self._parted = any(f.to.table == "row" for f in self._labels.fields)
        """Whether labels say which part of a record comes next."""

    def sheets(self, sheets: Sequence[Sheet]) -> Iterator[RecordChunk]:
        """Chunks of sheets."""
        file = self._file
        if file.block not in ("", "file", "sheet"):
            for number, (name, rows) in enumerate(sheets, 1):
                where = f"sheet {name}, " if name else f"block {number}, " if len(sheets) > 1 else ""
                yield from self.streamed(blocks(rows, file, self._split), where, name)
            return
        parsed = [(name, Cutter(file, self._split, name, self._noun).cut(rows, 1)) for name, rows in sheets]
        if not file.block:
            yield from self.tables(parsed)
            return
        rows_of = dict(sheets)
        kept = [(name, p) for name, p in parsed if p.sections or p.labels]
        if file.block == "file":
            yield self.chunk(_one_record(_merged([p for _, p in kept])), [])
            return
        shared, kept = _covers(kept, self._labels)
        for name, p in kept:
            if name:
                p.labels.insert(0, (1, "@sheet", name))
        # Blocks that stand beside each other have one name, and no rows that are theirs alone.
        raw = [rows_of[name] for name, _ in kept] if len(rows_of) == len(sheets) else [r for _, r in sheets]
        held = _HeldBlocks([p for _, p in kept], raw, [(0, 0)] * len(kept), list(range(len(kept))))
        chunk = self.chunk(held, shared)
        chunk.places = [f"sheet {name}" if name else f"block {i}" for i, (name, _) in enumerate(kept, 1)]
        yield chunk

    def streamed(self, found: Iterator[RowBlock], where: str = "", sheet: str = "") -> Iterator[RecordChunk]:
        """Chunks of blocks. Where labels say which part of a record a block is, blocks of one key are one record."""
        cutter = Cutter(self._file, self._split, sheet, self._noun)
        shared: list[ParsedBlock] = []
        held, first = _HeldBlocks(), True
        for block in found:
            parsed = cutter.cut(block.rows, block.first, block.key)
            if block.before:
                shared.append(parsed)
                continue
            key = _key(parsed, self._labels) if self._parted else len(held.keys)
            same = bool(held.keys) and self._parted and key == held.keys[-1]
            if not same and (held.size > MOST_BYTES or len(held.parsed) >= MOST_BLOCKS):
                yield self.chunk(held, shared, where, first)
                held, first = _HeldBlocks(), False
            held.of.append(held.of[-1] + (not same) if held.of else 0)
            held.keys.append(key)
            held.parsed.append(parsed)
            held.raw.append(block.rows)
            held.spans.append((block.first, block.first + sum(map(lines_of, block.rows)) - 1))
            held.size += sum(len(r) for r in block.rows)
        if held.parsed or (first and shared):
            yield self.chunk(held, shared, where, first)

    def chunk(self, held: _HeldBlocks, shared: list[ParsedBlock], where: str = "", first: bool = True) -> RecordChunk:
        """The records of some blocks. shared: blocks that hold for all records; counted where `first`."""
        if self._parted:
            held = _parted(held)
        parsed, of = held.parsed, np.array(held.of, dtype=np.int64)
        frames, problems = section_frames(parsed, self._file, self._mapping, self._split, self._noun)
        labels = label_frame(parsed, self._labels, self._noun)
        rows = tuple(f for f in self._labels.fields if f.to.table == "row" and f.source in labels.columns)
        for frame in frames:
            if rows:
                say_rows(frame, labels, rows)
            frame.record = of[frame.record]
        labels.record = of
        n = int(of[-1]) + 1 if len(of) else 0
        spans: list[list[tuple[int, int]]] = [[] for _ in range(n)]
        for span, record in zip(held.spans, held.of, strict=True):
            spans[record].append(span)
        noun = self._noun
        places = [f"{where}{noun}s {s[0][0]}-{s[-1][1]}" if s[0][1] else where.rstrip(", ") or "file" for s in spans]
        frames = [labels, *frames, *shared_frames(shared, self._labels, n, first)]
        ignored = sum(p.ignored for p in [*parsed, *(shared if first else [])])

        def text_of(i: int) -> str:
            return "".join(_text(r, self._file) for r, o in zip(held.raw, held.of, strict=True) if o == i)

        return RecordChunk(places, frames, text_of, ignored, {int(of[k]): p for k, p in problems.items()})

    def tables(self, parsed: list[tuple[str, ParsedBlock]]) -> Iterator[RecordChunk]:
        """Records of tables that are joined by their keys; labels hold for all."""
        frames: list[tuple[str, RowFrame]] = []
        shared = [p for _, p in parsed if p.labels]
        for name, p in parsed:
            with uncollected():
                made, _ = section_frames([p], self._file, self._mapping, self._split, self._noun)
            frames += [(f"sheet {name}, " if name else "", f) for f in made]
        for number, chunk in enumerate(join(frames)):
            first = number == 0
            chunk.frames = [*chunk.frames, *shared_frames(shared, self._labels, len(chunk.places), first)]
            chunk.ignored = sum(p.ignored for _, p in parsed) if first else 0
            yield chunk


def _merged(parsed: list[ParsedBlock]) -> ParsedBlock:
    return ParsedBlock(
        [x for p in parsed for x in p.labels], [x for p in parsed for x in p.sections], sum(p.ignored for p in parsed)
    )


def _covers(
    parsed: list[tuple[str, ParsedBlock]], labels: SourceTable
) -> tuple[list[ParsedBlock], list[tuple[str, ParsedBlock]]]:
    """Sheets that hold for all others, such as a cover, and those that are records: these have the label of a link."""
    names = {f.source for f in labels.fields if str(f.to) == "records.link_label"}
    if not names or any(n.startswith("@") for n in names):
        return [], parsed
    own = [bool(p.sections) or any(n in names for _, n, _ in p.labels) for _, p in parsed]
    if not any(own):
        return [], parsed
    shared = [p for (_, p), mine in zip(parsed, own, strict=True) if not mine]
    return shared, [x for x, mine in zip(parsed, own, strict=True) if mine]


def _key(parsed: ParsedBlock, table: SourceTable) -> tuple[object, ...]:
    """What tells one record from the next, as the labels of a block say it."""
    names = [f.source for f in table.fields if f.to.table == "records" and f.to.name in KEYS]
    stated = {name: value for _, name, value in reversed(parsed.labels)}
    return tuple(stated.get(n) for n in names)


def _parted(held: _HeldBlocks) -> _HeldBlocks:
    """Each block cut before every label that follows a table: labels say which part of the record comes next."""
    out = _HeldBlocks()
    for parsed, raw, span, of in zip(held.parsed, held.raw, held.spans, held.of, strict=True):
        for n, part in enumerate(_parts(parsed)):
            out.parsed.append(part)
            out.raw.append(raw if not n else [])
            out.spans.append(span)
            out.of.append(of)
    return out


def _parts(parsed: ParsedBlock) -> list[ParsedBlock]:
    begins = [s.at[0] for s in parsed.sections if s.at]
    if len(begins) < 2:
        return [parsed]
    found: list[tuple[int, TableSection | tuple[int, str, Cell]]] = [(label[0], label) for label in parsed.labels]
    found += [(s.at[0], s) for s in parsed.sections if s.at]
    out, after = [ParsedBlock(ignored=parsed.ignored)], False
    for _, one in sorted(found, key=lambda x: x[0]):
        if isinstance(one, TableSection):
            out[-1].sections.append(one)
        else:
            if after:
                out.append(ParsedBlock())
            out[-1].labels.append(one)
        after = isinstance(one, TableSection)
    return out


def shared_frames(shared: list[ParsedBlock], table: SourceTable, records: int, first: bool) -> list[RowFrame]:
    """What stands before the records holds for each of them; its cells are counted once."""
    out = []
    for parsed in shared:
        one = label_frame([parsed], table, "")
        if one.columns:
            zero = pa.array(np.zeros(records, dtype=np.int64))
            columns = {k: c.take(zero) for k, c in one.columns.items()}
            out.append(RowFrame(table, columns, np.arange(records, dtype=np.int64), counts=first, shared=True))
    return out


def _text(rows: Sequence[RawRow], file: SourceFile) -> str:
    mark = file.delimiter if len(file.delimiter) == 1 else "\t"
    lines = (
        r if isinstance(r, str) else mark.join("" if c is None else re.sub(r"\s+", " ", str(c)) for c in r)
        for r in rows
    )
    return "".join(f"{line}\n" for line in lines)
