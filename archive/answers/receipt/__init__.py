"""The receipt of a deposit: what was handed in, what became of it, what is open, and what comes next."""

from __future__ import annotations

from pathlib import Path

from archive.answers.documents import saved
from archive.answers.documents.lines import lines
from archive.answers.receipt.compose import compose
from archive.answers.receipt.next_step import next_step
from archive.answers.receipt.receipt_facts import ReceiptFacts


def check_form(path: Path) -> None:
    """Errors: Trouble where a receipt cannot be written under this name."""
    saved.check_form(path, "--receipt")


def write(facts: ReceiptFacts, path: Path) -> None:
    """Writes the receipt with the files as received, atomically, in the form that the name says."""
    saved.write(compose(facts, kept=True), path)


__all__ = ["ReceiptFacts", "check_form", "compose", "lines", "next_step", "write"]
