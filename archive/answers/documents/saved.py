"""A document in a file: the name says whether as PDF, HTML or text."""

from __future__ import annotations

from pathlib import Path

from archive.answers.documents.html import html
from archive.answers.documents.lines import lines
from archive.answers.documents.model import Document
from archive.answers.documents.pdf import pdf
from archive.atomic import write_bytes
from archive.errors import Trouble

_FORMS = (".pdf", ".html", ".htm", ".txt")


def check_form(path: Path, option: str) -> None:
    """Errors: Trouble where no document can be written under this name. option: that names it."""
    if path.suffix.lower() not in _FORMS:
        raise Trouble(
            "unknown form of a document",
            code="document.form",
            where=option,
            found=path.name,
            expected="a name that ends in .pdf, .html or .txt",
        )


def write(document: Document, path: Path) -> None:
    """Writes it, atomically, in the form that the name says."""
    form = path.suffix.lower()
    if form == ".pdf":
        data = pdf(document)
    else:
        data = (html(document) if form != ".txt" else "\n".join(lines(document)) + "\n").encode()
    write_bytes(path, data)
