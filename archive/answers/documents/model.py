"""A document as a tree of plain blocks, which the HTML and the PDF renderer both understand.

Whoever composes a document (claim file, book, acceptance report) says what stands in it; how it looks is decided
once, in the two templates of this folder.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field


@dataclass(frozen=True)
class Para:
    """A paragraph. role: body, lead (larger, at the top) or small (a note)."""

    text: str
    role: str = "body"


@dataclass(frozen=True)
class FactsBlock:
    """Pairs of a name and a value. columns: how many pairs stand side by side."""

    rows: Sequence[tuple[str, str]]
    columns: int = 1


@dataclass(frozen=True)
class VerdictCard:
    """What somebody says of a thing: who, one word, and lines that belong to it. grave: must not be overlooked."""

    who: str
    word: str
    lines: Sequence[str]
    grave: bool = False


@dataclass(frozen=True)
class VerdictCards:
    """Opinions side by side."""

    items: Sequence[VerdictCard]


@dataclass(frozen=True)
class TableBlock:
    """A table of texts.

    align: one of l, c, r per column. weights: relative widths of columns on paper, 0 for as wide as its texts, or
    none. strong: rows to stress. code: columns to be compared letter by letter.
    """

    head: Sequence[str]
    rows: Sequence[Sequence[str]]
    align: str = ""
    caption: str = ""
    weights: Sequence[float] = ()
    strong: frozenset[int] = frozenset()
    code: frozenset[int] = frozenset()


def stressed(
    head: Sequence[str], rows: Sequence[tuple[bool, Sequence[str]]], *, align: str = "", weights: Sequence[float] = ()
) -> TableBlock:
    """A table of rows that each say whether they are to be stressed."""
    strong = frozenset(n for n, (yes, _) in enumerate(rows) if yes)
    return TableBlock(head, [cells for _, cells in rows], align, weights=weights, strong=strong)


@dataclass(frozen=True)
class Figure:
    """A picture as SVG text. alt says in words what it shows; wide: part of the page's width that it takes.

    narrow: the same drawn for the width of a phone, "" where the one picture serves both.
    """

    svg: str
    caption: str
    alt: str
    wide: float = 1.0
    narrow: str = ""


@dataclass(frozen=True)
class FigureGrid:
    """Pictures side by side, so many in a row."""

    items: Sequence[Figure]
    columns: int = 2


@dataclass(frozen=True)
class Notice:
    """Something that must not be overlooked: a heading and one line per item. kind: attention or note."""

    title: str
    items: Sequence[str]
    kind: str = "attention"


@dataclass(frozen=True)
class Listing:
    """Items in order (numbered) or as points."""

    items: Sequence[str]
    numbered: bool = False


@dataclass(frozen=True)
class Code:
    """Text to be typed or compared letter by letter."""

    text: str


Block = Para | FactsBlock | VerdictCards | TableBlock | Figure | FigureGrid | Notice | Listing | Code


@dataclass(frozen=True)
class DocumentSection:
    """A heading and what stands under it. level 1 or 2; new_page: starts a page in print; keep: stays on one page."""

    title: str
    blocks: Sequence[Block]
    level: int = 1
    new_page: bool = False
    keep: bool = False


@dataclass(frozen=True)
class Attachment:
    """A file carried inside the PDF."""

    name: str
    data: bytes
    media_type: str
    description: str


@dataclass(frozen=True)
class Document:
    """A whole document. date: ISO 8601, the day the document speaks of; the same inputs give the same bytes.

    A first section without a title stands before the contents. contents: heading of the contents, "" for none.
    """

    title: str
    subtitle: str
    kicker: str
    date: str
    sections: Sequence[DocumentSection]
    footer: str = ""
    language: str = "en"
    paper: str = "a4"
    contents: str = ""
    page_of: str = "page {page} of {pages}"
    attachments: Sequence[Attachment] = field(default=())
