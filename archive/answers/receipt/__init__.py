"""The receipt of a deposit: what was handed in, what became of it, what is open, and what comes next."""

from __future__ import annotations

from pathlib import Path

from archive.answers.documents import html, pdf
from archive.answers.documents.lines import lines
from archive.answers.receipt.compose import compose
from archive.answers.receipt.next_step import next_step
from archive.answers.receipt.receipt_facts import ReceiptFacts
from archive.atomic import write_bytes
from archive.errors import Trouble

_FORMS = (".pdf", ".html", ".htm", ".txt")


def check_form(path: Path) -> None:
    """Errors: Trouble where a receipt cannot be written under this name."""
    if path.suffix.lower() not in _FORMS:
        raise Trouble(
            "unknown form of a receipt",
            code="receipt.form",
            where="--receipt",
            found=path.name,
            expected="a name that ends in .pdf, .html or .txt",
        )


def write(facts: ReceiptFacts, path: Path) -> None:
    """Writes the receipt with the files as received, atomically, in the form that the name says."""
    document = compose(facts, kept=True)
    form = path.suffix.lower()
    if form == ".pdf":
        data = pdf(document)
    else:
        data = (html(document) if form != ".txt" else "\n".join(lines(document)) + "\n").encode()
    write_bytes(path, data)


__all__ = ["ReceiptFacts", "check_form", "compose", "lines", "next_step", "write"]
