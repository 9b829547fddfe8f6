"""Rows cut into records: at a label, at a line of a certain shape, or not at all."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from itertools import zip_longest

from archive.formats.base.patterns import BoundedPattern
from archive.formats.mapping.model import SourceFile
from archive.formats.mapping.rows.labels import labels_of
from archive.formats.mapping.rows.text_rows import Cell, RawRow, Row, Splitter, filled, joined, lines_of


@dataclass
class RowBlock:
    """Rows of one record, or of what stands before the first. first: number of its first row (from 1)."""

    rows: list[RawRow]
    first: int
    key: tuple[int, str] | None = None
    """Row within the block, and words, by which it was known."""
    before: bool = False


def blocks(rows: Iterable[RawRow], file: SourceFile, split: Splitter, first: int = 1) -> Iterator[RowBlock]:
    """Blocks of rows. Without a block mark in the mapping all rows are one."""
    begins = _beginning(file, split)
    held = RowBlock([], first, before=begins is not None)
    number = first
    for raw in rows:
        found = begins(raw) if begins is not None else None
        if found is not None:
            if held.rows:
                yield held
            held = RowBlock([raw], number, (0, found))
        else:
            held.rows.append(raw)
        number += lines_of(raw)
    if held.rows:
        yield held


def _beginning(file: SourceFile, split: Splitter) -> Callable[[RawRow], str | None] | None:
    """Whether a row begins a record: "" or its words where it does, None where not."""
    mark = file.block
    if mark in ("", "file", "sheet"):
        return None
    if mark.startswith("/"):
        pattern = BoundedPattern(mark.strip("/"))
        cut = file.kind == "delimited" and len(file.delimiter) == 1

        def by_shape(raw: RawRow) -> str | None:
            text = raw if isinstance(raw, str) else " ".join(str(c) for c in split(raw) if c is not None)
            match = pattern.search(text)
            if cut and isinstance(raw, str) and file.delimiter in raw:
                # A line that its marks cut into cells, as a person reads it.
                match = pattern.search(joined(split(raw))) or match
            if not match and "  " in text:
                match = pattern.search(" ".join(text.split()))  # Runs of blanks part what stands far apart.
            if not match:
                return None
            return next((g for g in match.groups() if g), "").strip() if match.groups() else ""

        return by_shape
    known = {mark}

    def by_label(raw: RawRow) -> str | None:
        if isinstance(raw, str) and mark not in raw:
            return None
        return "" if any(name == mark for name, _ in labels_of(split(raw), known)[:1]) else None

    return by_label


def stripes(rows: Sequence[Row], width: int) -> list[list[list[Cell]]]:
    """Blocks that stand side by side, each `width` columns wide, as rows of their own."""
    most = max((len(r) for r in rows), default=0)
    out = []
    for at in range(0, most, width):
        part = [list(r[at : at + width]) for r in rows]
        if any(map(filled, part)):
            out.append(part)
    return out


def transposed(rows: Sequence[Row]) -> list[list[Cell]]:
    """Rows and columns exchanged."""
    return [list(c) for c in zip_longest(*rows)]
