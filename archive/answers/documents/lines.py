"""A document as plain text: folded to a width, for a terminal or a text file."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence

from archive.answers.documents.model import (
    Block,
    Code,
    Document,
    FactsBlock,
    Listing,
    Notice,
    Para,
    TableBlock,
    VerdictCards,
)
from archive.answers.documents.text import visible

WIDTH = 80
_GAP = 2
_LEAST = 6
"""Letters that a column keeps, however narrow the page."""


def lines(document: Document, width: int = WIDTH) -> list[str]:
    """The document as lines of at most so many letters. Pictures are left out: their captions stay."""
    made = [*_folded(document.title, width)]
    made += _folded(document.subtitle, width, "  ") if document.subtitle else []
    for section in document.sections:
        if section.title:
            made += ["", *_folded(section.title, width)]
        for block in section.blocks:
            made += _block(block, width)
    if document.footer:
        made += ["", *_folded(document.footer, width)]
    return made


def _block(block: Block, width: int) -> list[str]:
    if isinstance(block, Para):
        return _folded(block.text, width, "  ")
    if isinstance(block, FactsBlock):
        return _facts(block.rows, width)
    if isinstance(block, TableBlock):
        return _table(block, width)
    if isinstance(block, Notice):
        return [*_folded(block.title, width, "  "), *(x for item in block.items for x in _item(item, width))]
    if isinstance(block, Listing):
        marks = (f"{n}. " if block.numbered else "- " for n in range(1, len(block.items) + 1))
        return [x for mark, item in zip(marks, block.items, strict=True) for x in _item(item, width, mark)]
    if isinstance(block, Code):
        return _folded(block.text, width, "    ")
    if isinstance(block, VerdictCards):
        return [x for card in block.items for x in _item(f"{card.who}: {card.word}", width)]
    return []


def _item(text: str, width: int, mark: str = "- ") -> list[str]:
    return _folded(text, width, f"  {mark}", " " * (2 + len(mark)))


def _facts(rows: Sequence[tuple[str, str]], width: int) -> list[str]:
    longest = min(max((len(name) for name, _ in rows), default=0), width // 3)
    return [
        x
        for name, value in rows
        for x in _folded(value or "-", width, f"  {visible(name):<{longest}}  ", " " * (longest + 4))
    ]


def _folded(text: str, width: int, first: str = "", after: str | None = None) -> list[str]:
    """A text in lines. Words stay whole where they fit; line feeds and tabs in it are written out."""
    shown = visible(text.replace("\n", "\\n").replace("\r", "\\r").replace("\t", "\\t"))
    after = first if after is None else after
    return textwrap.wrap(shown, width, initial_indent=first, subsequent_indent=after, break_on_hyphens=False) or [
        first.rstrip()
    ]


def _table(block: TableBlock, width: int) -> list[str]:
    """A table whose columns share the width; what is too long for its column is folded in it."""
    head = [list(block.head)] if any(block.head) else []
    rows = [*head, *([str(c) for c in row] for row in block.rows)]
    natural = [max(len(row[i]) for row in rows) for i in range(len(block.head))]
    room = width - 2 - _GAP * (len(natural) - 1)
    while sum(natural) > room and max(natural) > _LEAST:
        natural[natural.index(max(natural))] -= 1
    made = []
    for row in rows:
        cells = [_folded(cell, size) for cell, size in zip(row, natural, strict=True)]
        for n in range(max(map(len, cells))):
            pieces = [
                (c[n] if n < len(c) else "").rjust(size) if align == "r" else (c[n] if n < len(c) else "").ljust(size)
                for c, size, align in zip(cells, natural, block.align.ljust(len(natural), "l"), strict=True)
            ]
            made.append(("  " + (" " * _GAP).join(pieces)).rstrip())
    return made
