"""Documents of plain blocks, as self-contained HTML and as PDF."""

from __future__ import annotations

from archive.answers.documents.html import html
from archive.answers.documents.model import (
    Attachment,
    Block,
    Code,
    Document,
    DocumentSection,
    FactsBlock,
    Figure,
    FigureGrid,
    Listing,
    Notice,
    Para,
    TableBlock,
    VerdictCard,
    VerdictCards,
    stressed,
)
from archive.answers.documents.pdf import pdf
from archive.answers.documents.press import Press

__all__ = [
    "Attachment",
    "Block",
    "Code",
    "Document",
    "DocumentSection",
    "FactsBlock",
    "Figure",
    "FigureGrid",
    "Listing",
    "Notice",
    "Para",
    "Press",
    "TableBlock",
    "VerdictCard",
    "VerdictCards",
    "html",
    "pdf",
    "stressed",
]
