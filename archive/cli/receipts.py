"""A receipt on the terminal, and in a file beside it."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from archive.cli.common import page_width, print_json, print_line, print_next_text
from archive.cli.plain import one_line

if TYPE_CHECKING:
    from archive.answers.receipt import ReceiptFacts


def show(facts: ReceiptFacts, out: Path | None, *, as_json: bool, quiet: bool, more: dict[str, object]) -> None:
    """Prints a receipt and writes it to a file where one is named. more: keys of the JSON document besides."""
    from archive.answers import receipt

    if out is not None:
        receipt.write(facts, out)
    if as_json:
        of_links = {} if facts.progress is None else facts.progress.counts.plain()
        said = {"next": receipt.next_step(facts), "receipt": str(out) if out else None}
        print_json({**facts.told, **of_links, **said, **more})
    elif not quiet:
        click.echo(text(facts, page_width()))
        print_next_text(receipt.next_step(facts))
        if out is not None:
            print_line(f"this receipt, with every file as received: {out}", err=True)


def text(facts: ReceiptFacts, width: int = 80) -> str:
    """The receipt as lines of a terminal."""
    from archive.answers import receipt

    return "\n".join(map(one_line, receipt.lines(receipt.compose(facts), width)))
