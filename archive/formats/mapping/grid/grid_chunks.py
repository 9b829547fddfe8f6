"""Chunks of text with blocks or several tables, and of sheets."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
import pyarrow as pa

from archive.formats.base import text as texts
from archive.formats.base.uncollected import uncollected
from archive.formats.mapping.delimited import lines as delimited
from archive.formats.mapping.grid.blocks import RecordBlock, blocks, stripes, transposed
from archive.formats.mapping.grid.frames import label_frame, label_table, section_frames
from archive.formats.mapping.grid.section import Cutter, ParsedBlock, TableSection
from archive.formats.mapping.join import join
from archive.formats.mapping.model import Mapping, SourceField, SourceFile, SourceTable
from archive.formats.mapping.record_chunk import RecordChunk
from archive.formats.mapping.record_rows import KEYS
from archive.formats.mapping.row_frame import RowFrame

MOST_BYTES = 1 << 24
"""Text of blocks gathered for one chunk."""
MOST_BLOCKS = 500

Split = Callable[[Any], Sequence[Any]]


def text_chunks(source: Iterator[bytes], file: SourceFile, mapping: Mapping) -> Iterator[RecordChunk]:
    """Records of a text. source: its bytes as UTF-8."""
    split = splitter(file)
    rows: Iterable[Any] = texts.lines(source) if not _quoted(file) else logical(texts.lines(source), file.quote)
    if file.side_by_side or file.transpose:
        grid: list[list[Any]] = [list(split(r)) for r in rows]
        if file.transpose:
            grid = transposed(grid)
        parts = stripes(grid, file.side_by_side) if file.side_by_side else [grid]
        yield from _sheets([("", p) for p in parts], file, mapping, "line")
        return
    if not file.block or file.block == "file":
        parsed = Cutter(file, split, noun="line").cut(list(rows), 1)
        if file.block == "file":
            yield _chunk(_one(parsed), [], file, mapping, split, "line", "")
        else:
            yield from _tables([("", parsed)], file, mapping, split, "line")
        return
    yield from _streamed(blocks(rows, file, split), file, mapping, split, "line", "")


def sheet_chunks(
    sheets: Iterable[tuple[str, list[list[Any]]]], file: SourceFile, mapping: Mapping
) -> Iterator[RecordChunk]:
    """Records of sheets: pairs of the sheet's name and its rows."""
    made: list[tuple[str, list[list[Any]]]] = []
    for name, rows in sheets:
        if file.transpose:
            rows = transposed(rows)
        made += [(name, p) for p in (stripes(rows, file.side_by_side) if file.side_by_side else [rows])]
    yield from _sheets(made, file, mapping, "row")


def _sheets(
    sheets: list[tuple[str, list[list[Any]]]], file: SourceFile, mapping: Mapping, noun: str
) -> Iterator[RecordChunk]:
    if not file.block:
        parsed = [(name, Cutter(file, _same, name, noun).cut(rows, 1)) for name, rows in sheets]
        yield from _tables(parsed, file, mapping, _same, noun)
        return
    if file.block in ("file", "sheet"):
        parsed = [(name, Cutter(file, _same, name, noun).cut(rows, 1)) for name, rows in sheets]
        parsed = [(name, p) for name, p in parsed if p.sections or p.labels]
        if file.block == "file":
            whole = ParsedBlock(
                [x for _, p in parsed for x in p.labels],
                [x for _, p in parsed for x in p.sections],
                sum(p.ignored for _, p in parsed),
            )
            yield _chunk(_one(whole), [], file, mapping, _same, noun, "")
            return
        shared, parsed = _covers(parsed, file)
        rows_of = dict(sheets) if len({n for n, _ in sheets}) == len(sheets) else {}
        for name, p in parsed:
            if name:
                p.labels.insert(0, (1, "@sheet", name))
        raw = [rows_of.get(name, []) for name, _ in parsed] if rows_of else [r for _, r in sheets]
        held = _Held([p for _, p in parsed], raw, of=list(range(len(parsed))))
        held.spans = [(0, 0)] * len(parsed)
        chunk = _chunk(held, shared, file, mapping, _same, noun, "")
        chunk.places = [f"sheet {name}" if name else f"block {i}" for i, (name, _) in enumerate(parsed, 1)]
        yield chunk
        return
    for number, (name, rows) in enumerate(sheets, 1):
        where = f"sheet {name}, " if name else f"block {number}, " if len(sheets) > 1 else ""
        yield from _streamed(blocks(rows, file, _same), file, mapping, _same, noun, where, name)


def _covers(
    parsed: list[tuple[str, ParsedBlock]], file: SourceFile
) -> tuple[list[ParsedBlock], list[tuple[str, ParsedBlock]]]:
    """Sheets that hold for all others, such as a cover, and those that are records: these have the label of a link."""
    names = {f.source for f in label_table(file).fields if str(f.to) == "records.link_label"}
    if not names or any(n.startswith("@") for n in names):
        return [], parsed
    own = [bool(p.sections) or any(n in names for _, n, _ in p.labels) for _, p in parsed]
    if not any(own):
        return [], parsed
    shared = [p for (_, p), mine in zip(parsed, own, strict=True) if not mine]
    return shared, [x for x, mine in zip(parsed, own, strict=True) if mine]


def _one(parsed: ParsedBlock) -> _Held:
    """A file that is one record."""
    return _Held([parsed], [[]], [(0, 0)], [0])


@dataclass
class _Held:
    """Blocks on their way to a chunk; `of` says which record each block belongs to."""

    parsed: list[ParsedBlock] = field(default_factory=list)
    raw: list[list[Any]] = field(default_factory=list)
    spans: list[tuple[int, int]] = field(default_factory=list)
    of: list[int] = field(default_factory=list)
    keys: list[Any] = field(default_factory=list)
    size: int = 0


def _streamed(
    found: Iterator[RecordBlock],
    file: SourceFile,
    mapping: Mapping,
    split: Split,
    noun: str,
    where: str,
    sheet: str = "",
) -> Iterator[RecordChunk]:
    """Chunks of blocks. Where labels say which part of a record a block is, blocks of one key are one record."""
    cutter = Cutter(file, split, sheet, noun)
    table = label_table(file)
    parts = any(f.to.table == "row" for f in table.fields)
    shared: list[ParsedBlock] = []
    held, first = _Held(), True
    for block in found:
        parsed = cutter.cut(block.rows, block.first, block.key)
        if block.before:
            shared.append(parsed)
            continue
        key = _key(parsed, table) if parts else len(held.keys)
        same = bool(held.keys) and parts and key == held.keys[-1]
        if not same and (held.size > MOST_BYTES or len(held.parsed) >= MOST_BLOCKS):
            yield _chunk(held, shared, file, mapping, split, noun, where, first)
            held, first = _Held(), False
        held.of.append(held.of[-1] if same and held.of else (held.of[-1] + 1 if held.of else 0))
        held.keys.append(key)
        held.parsed.append(parsed)
        held.raw.append(block.rows)
        held.spans.append((block.first, block.first + len(block.rows) - 1))
        held.size += sum(len(r) for r in block.rows)
    if held.parsed or (first and shared):
        yield _chunk(held, shared, file, mapping, split, noun, where, first)


def _key(parsed: ParsedBlock, table: SourceTable) -> tuple[Any, ...]:
    """What tells one record from the next, as the labels of a block say it."""
    names = [f.source for f in table.fields if f.to.table == "records" and f.to.name in KEYS]
    stated = {name: value for _, name, value in reversed(parsed.labels)}
    return tuple(stated.get(n) for n in names)


def _chunk(
    held: _Held,
    shared: list[ParsedBlock],
    file: SourceFile,
    mapping: Mapping,
    split: Split,
    noun: str,
    where: str,
    first: bool = True,
) -> RecordChunk:
    table = label_table(file)
    if any(f.to.table == "row" for f in table.fields):
        held = _parted(held)
    parsed, of = held.parsed, np.array(held.of, dtype=np.int64)
    frames, problems = section_frames(parsed, file, mapping, split, noun)
    labels = label_frame(parsed, table, noun)
    rows = tuple(f for f in table.fields if f.to.table == "row" and f.source in labels.columns)
    for frame in frames:
        if rows:
            _say_rows(frame, labels, rows)
        frame.record = of[frame.record]
    labels.record = of
    n = int(of[-1]) + 1 if len(of) else 0
    spans = (
        [[s for s, o in zip(held.spans, held.of, strict=True) if o == i] for i in range(n)]
        if rows
        else [[s] for s in held.spans]
    )
    places = [f"{where}{noun}s {s[0][0]}-{s[-1][1]}" if s[0][1] else where.rstrip(", ") or "file" for s in spans]
    frames = [labels, *frames, *shared_frames(shared, table, n, first)]
    ignored = sum(p.ignored for p in parsed) + (sum(p.ignored for p in shared) if first else 0)

    def text_of(i: int) -> str:
        return "".join(_text(r, file) for r, o in zip(held.raw, held.of, strict=True) if o == i)

    return RecordChunk(places, frames, text_of, ignored, {int(of[k]): p for k, p in problems.items()})


def _parted(held: _Held) -> _Held:
    """Each block cut before every label that follows a table: labels say which part of the record comes next."""
    out = _Held()
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
    found: list[Any] = [*((place, (place, *rest)) for place, *rest in parsed.labels)]
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


def _say_rows(frame: RowFrame, labels: RowFrame, rows: tuple[SourceField, ...]) -> None:
    """Gives the rows of a block what its labels say of them, such as the quantity and the pair."""
    names = {f.source for f in rows}
    for name in names:
        frame.columns[name] = labels.columns[name].take(pa.array(frame.record))
    frame.table = replace(frame.table, fields=(*frame.table.fields, *rows))
    frame.uncounted = frozenset(names)


def shared_frames(shared: list[ParsedBlock], table: Any, records: int, first: bool) -> list[RowFrame]:
    """What stands before the records holds for each of them; its cells are counted once."""
    out = []
    for parsed in shared:
        one = label_frame([parsed], table, "")
        if one.columns:
            zero = pa.array(np.zeros(records, dtype=np.int64))
            columns = {k: c.take(zero) for k, c in one.columns.items()}
            out.append(RowFrame(table, columns, np.arange(records, dtype=np.int64), counts=first, shared=True))
    return out


def _tables(
    parsed: list[tuple[str, ParsedBlock]], file: SourceFile, mapping: Mapping, split: Split, noun: str
) -> Iterator[RecordChunk]:
    """Records of tables that are joined by their keys; labels hold for all."""
    frames: list[tuple[str, RowFrame]] = []
    shared = [p for _, p in parsed if p.labels]
    ignored = sum(p.ignored for _, p in parsed)
    for name, p in parsed:
        with uncollected():
            made, _ = section_frames([p], file, mapping, split, noun)
        frames += [(f"sheet {name}, " if name else "", f) for f in made]
    first = True
    for chunk in join(frames):
        n = len(chunk.places)
        chunk.frames = [*chunk.frames, *shared_frames(shared, label_table(file), n, first)]
        chunk.ignored = ignored if first else 0
        first = False
        yield chunk


def splitter(file: SourceFile) -> Split:
    """How a raw line becomes cells."""
    mark, quote = file.delimiter, file.quote
    if file.kind == "report" and mark == ",":
        mark = "blanks"
    if len(mark) != 1:
        return lambda line: delimited.split(line, mark) if isinstance(line, str) else line

    def cut(line: Any) -> Sequence[Any]:
        if not isinstance(line, str):
            return line  # type: ignore[no-any-return]
        if not quote or quote not in line:
            return line.split(mark)
        return next(csv.reader(io.StringIO(line), delimiter=mark, quotechar=quote), [])

    return cut


def _quoted(file: SourceFile) -> bool:
    return file.kind == "delimited" and bool(file.quote)


def logical(lines: Iterable[str], quote: str) -> Iterator[str]:
    """Lines joined where a quoted cell goes over several."""
    held = ""
    for line in lines:
        text = f"{held}\n{line}" if held else line
        if quote in text and text.count(quote) % 2 and text.count("\n") < 64:
            held = text
            continue
        held = ""
        yield text
    if held:
        yield from held.split("\n")


def _same(row: Any) -> Sequence[Any]:
    return row  # type: ignore[no-any-return]


def _text(rows: list[Any], file: SourceFile) -> str:
    mark = file.delimiter if len(file.delimiter) == 1 else "\t"
    return "\n".join(
        r if isinstance(r, str) else mark.join("" if c is None else re.sub(r"\s+", " ", str(c)) for c in r)
        for r in rows
    ) + ("\n" if rows else "")
