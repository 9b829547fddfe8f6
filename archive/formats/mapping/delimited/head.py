"""What stands above a table of delimited text, and where its headings are."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, field

from archive.errors import Trouble
from archive.formats.mapping import names
from archive.formats.mapping.delimited.lines import blank, joined, rows_of, skipper
from archive.formats.mapping.model import SourceFile, SourceTable

Rows = list[tuple[int, list[str]]]


@dataclass
class TextHead:
    """names of the columns; the line with which the body begins (from 1) and its byte; labels above the table.

    headings: the heading row as cells, by which a repeated one is known. ragged: rows may leave out cells at the end.
    """

    names: list[str]
    body_line: int
    body_at: int
    headings: list[list[str]]
    labels: list[tuple[int, str, str]] = field(default_factory=list)
    ignored: int = 0
    ragged: bool = False
    text: str = ""


def head_of(text: str, file: SourceFile, table: SourceTable, where: str) -> TextHead:
    """The head of a table from the first lines of its file.

    text: the first lines, whole ones. Errors: Trouble where the headings that the mapping names are not there.
    """
    rows: Rows = list(rows_of(text, file))
    wanted = {names.tidy(f.source) for f in table.fields if not f.source.startswith("@")}
    if table.columns:
        first = next((i for i, (_, r) in enumerate(rows) if _fits(r, table)), len(rows))
        return _made(rows, first, first, list(table.columns), text, file, [])
    best, found = 0, -1
    for i in range(len(rows)):
        block = [r for _, r in rows[i : i + table.header_rows]]
        if len(block) < table.header_rows or blank(block[-1]):
            continue
        score = len(wanted.intersection(names.distinct(names.merged(block))))
        if score > best:
            best, found = score, i
            if score == len(wanted):
                break
    if found < 0 or best < min(2, len(wanted)):
        raise _absent(table, where, rows[0][1] if rows else [])
    block = [r for _, r in rows[found : found + table.header_rows]]
    heads = names.distinct(names.merged(block))
    missing = [
        f.source
        for f in table.fields
        if names.tidy(f.source) not in heads and not f.optional and not f.source.startswith("@")
    ]
    if missing:
        raise Trouble(
            "the mapping names a column that is not there",
            code="export.column-missing",
            where=f"{where}, line {rows[found][0]}",
            found=", ".join(h for h in heads if h)[:160],
            expected=", ".join(repr(m) for m in missing[:4]),
            remedy="correct the name, or mark the field optional = true",
        )
    start = found + table.header_rows + (1 if table.units_row else 0)
    return _made(rows, found, start, heads, text, file, block)


def _made(
    rows: Rows, found: int, start: int, heads: list[str], text: str, file: SourceFile, block: list[list[str]]
) -> TextHead:
    body = [r for _, r in rows[start : start + 200] if not blank(r)]
    common = Counter(len(r) for r in body).most_common(1)[0][0] if body else len(heads)
    if not block:
        heads = heads + [""] * (common - len(heads))
    width = max(len(heads), common)
    heads = names.distinct([*heads, *[""] * (width - len(heads))])
    body_line = rows[start][0] if start < len(rows) else (rows[-1][0] + 1 if rows else 1)
    head = TextHead(heads, body_line, _offset(text, body_line), block)
    head.ragged = any(len(r) < width for r in body[:-1])
    head.text = text.encode()[: head.body_at].decode("utf-8", "replace")
    skip = skipper(file)
    for line, row in rows[:found]:
        cells = [c.strip() for c in row if c.strip()]
        if not cells:
            continue
        if skip and skip.search(joined(row)):
            head.ignored += len(cells)
        else:
            head.labels += labelled(line, row)
    return head


def labelled(line: int, row: list[str]) -> list[tuple[int, str, str]]:
    """Line, name and value of each label in a row above a table: "Site:", "Quay 4" or "Site: Quay 4"."""
    cells = [c.strip() for c in row]
    filled = [i for i, c in enumerate(cells) if c]
    out: list[tuple[int, str, str]] = []
    if len(filled) == 1:
        name, mark, value = cells[filled[0]].partition(":")
        mark = mark or ("=" if "=" in name else "")
        if mark == "=":
            name, _, value = cells[filled[0]].partition("=")
        return [(line, name.strip() if mark else f"line {line}", value.strip() if mark else cells[filled[0]])]
    at = 0
    while at < len(filled):
        cell = cells[filled[at]]
        name, mark, value = cell.partition(":")
        if mark and value.strip():
            out.append((line, name.strip(), value.strip()))
            at += 1
        elif at + 1 < len(filled):
            out.append((line, cell.rstrip(":=").strip(), cells[filled[at + 1]]))
            at += 2
        else:
            out.append((line, f"line {line}", cell))
            at += 1
    return [(i, n, v) for i, n, v in out if v]


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
        expected=", ".join(f.source for f in table.fields[:6]),
        remedy="use the mapping of this layout, or draft one with `muniment mapping draft`",
    )
