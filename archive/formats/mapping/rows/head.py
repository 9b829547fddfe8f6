"""What stands above a table of delimited text, and where its headings are."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, field

from archive.errors import Trouble
from archive.formats.mapping import names
from archive.formats.mapping.model import SourceFile, SourceTable
from archive.formats.mapping.rows.labels import labels_of, list_names
from archive.formats.mapping.rows.text_rows import Cell, blank, filled, joined, rows_of, skipper

Rows = list[tuple[int, list[str]]]

_FEW_LINES = 600
_BODY_ROWS = 200
"""Rows below the headings that say how many cells a row has."""


@dataclass
class TextHead:
    """names of the columns; the line with which the body begins (from 1) and its byte; labels above the table.

    headings: the heading row as cells, by which a repeated one is known. ragged: rows may leave out cells at the end.
    """

    names: list[str]
    body_line: int
    body_at: int
    headings: list[list[str]]
    labels: list[tuple[int, str, Cell]] = field(default_factory=list)
    ignored: int = 0
    ragged: bool = False


def head_of(text: str, file: SourceFile, table: SourceTable, where: str) -> TextHead:
    """The head of a table from the first lines of its file.

    text: the first lines, whole ones. Errors: Trouble where the headings that the mapping names are not there.
    """
    wanted = {names.tidy(n) for n in table.cells if not n.startswith("@")}
    # The first lines nearly always hold all; the rest of the sample is split only where they do not.
    for sample in (text[: _offset(text, _FEW_LINES)], text):
        rows: Rows = [(line, row) for line, row, _ in rows_of(sample, file)]
        if table.columns:
            found, whole = next((i for i, (_, r) in enumerate(rows) if _fits(r, table)), len(rows)), True
        else:
            found, whole = _headings(rows, table, wanted)
        if len(sample) == len(text) or (whole and found + table.header_rows + _BODY_ROWS < len(rows)):
            break
    if table.columns:
        return _made(rows, found, found, list(table.columns), text, file, [])
    if found < 0:
        raise _absent(table, where, rows[0][1] if rows else [])
    block = [r for _, r in rows[found : found + table.header_rows]]
    heads = names.distinct(names.merged(block))
    missing = [
        n for n, f in table.cells.items() if names.tidy(n) not in heads and not f.optional and not n.startswith("@")
    ]
    if missing:
        raise Trouble(
            "the mapping names a column that is not there",
            code="export.column-missing",
            where=f"{where}, line {rows[found][0]}",
            found=", ".join(h for h in heads if h)[:160],
            expected=", ".join(repr(m) for m in missing[:4]),
            remedy="correct the name in the mapping, or mark the field optional = true",
        )
    start = found + table.header_rows + (1 if table.units_row else 0)
    return _made(rows, found, start, heads, text, file, block)


def _headings(rows: Rows, table: SourceTable, wanted: set[str]) -> tuple[int, bool]:
    """Where the headings of a table begin (-1 where nowhere), and whether they are all that the mapping names."""
    best, found = 0, -1
    for i in range(len(rows) - table.header_rows + 1):
        block = [r for _, r in rows[i : i + table.header_rows]]
        if blank(block[-1]):
            continue
        score = len(wanted.intersection(names.distinct(names.merged(block))))
        if score > best:
            best, found = score, i
            if score == len(wanted):
                break
    return (found, best == len(wanted)) if best >= min(2, len(wanted)) else (-1, False)


def _made(
    rows: Rows, found: int, start: int, heads: list[str], text: str, file: SourceFile, block: list[list[str]]
) -> TextHead:
    body = [r for _, r in rows[start : start + _BODY_ROWS] if not blank(r)]
    common = Counter(len(r) for r in body).most_common(1)[0][0] if body else len(heads)
    if not block:
        heads = heads + [""] * (common - len(heads))
    width = max(len(heads), common)
    heads = names.distinct([*heads, *[""] * (width - len(heads))])
    body_line = rows[start][0] if start < len(rows) else (rows[-1][0] + 1 if rows else 1)
    head = TextHead(heads, body_line, _offset(text, body_line), block)
    head.ragged = any(len(r) < width for r in body[:-1])
    skip, lists = skipper(file), list_names(file)
    for line, row in rows[:found]:
        if skip and skip.search(joined(row)):
            head.ignored += len(filled(row))
        else:
            head.labels += [(line, n or f"line {line}", v) for n, v in labels_of(row, lists=lists) if v is not None]
    return head


def _fits(row: list[str], table: SourceTable) -> bool:
    """A first row of a table without headings: as many cells as the mapping names columns."""
    return len(row) >= len(table.columns) and not blank(row)


def _offset(text: str, line: int) -> int:
    """Byte at which a line begins (UTF-8)."""
    at = -1
    for _ in range(line - 1):
        at = text.find("\n", at + 1)
        if at < 0:
            return len(text.encode())
    return len(text[: at + 1].encode())


def _absent(table: SourceTable, where: str, row: list[str]) -> Trouble:
    return Trouble(
        "the headings that the mapping names are not there",
        code="export.headings-missing",
        where=where,
        found=", ".join(c.strip() for c in row if c.strip())[:160],
        expected=", ".join([*table.cells][:6]),
        remedy="use the mapping of this layout, or draft one with `muniment mapping draft`",
    )
