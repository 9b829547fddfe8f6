"""A document as PDF: made as PDF/A-3, tagged, bookmarked, fonts inside, the same bytes for the same input."""

from __future__ import annotations

import json
import tempfile
from dataclasses import asdict
from pathlib import Path
from typing import Any, Literal

from archive.answers.documents.model import Document, Figure, FigureGrid, TableBlock
from archive.answers.documents.text import fonts, printable

_TEMPLATE = Path(__file__).parent / "templates" / "document.typ"
STANDARD: Literal["a-3a"] = "a-3a"
SOURCE, MADE = "document.typ", "document.pdf"


def pdf(document: Document) -> bytes:
    """The document as PDF bytes. Texts go to the typesetter as data, so that no text can act as markup.

    Errors: RuntimeError where the typesetter refuses the document.
    """
    with tempfile.TemporaryDirectory(prefix="muniment-") as name:
        lay_out(document, Path(name))
        typeset(name, str(fonts()), STANDARD)
        return (Path(name) / MADE).read_bytes()


def lay_out(document: Document, folder: Path) -> int:
    """Writes everything that the typesetter needs into a folder; gives its size in bytes."""
    (folder / SOURCE).write_bytes(_TEMPLATE.read_bytes())
    (folder / "document.json").write_text(json.dumps(_plain(document, folder)), encoding="utf-8")
    return sum(p.stat().st_size for p in folder.iterdir())


def typeset(folder: str, font_folder: str, standard: str) -> None:
    """Makes document.pdf of document.typ in a folder. Errors: RuntimeError where the typesetter refuses it."""
    import typst

    made = typst.compile(
        f"{folder}/{SOURCE}",
        root=folder,
        font_paths=[font_folder],
        ignore_system_fonts=True,
        pdf_standards=[standard],  # type: ignore[list-item]
    )
    (Path(folder) / MADE).write_bytes(bytes(made))


def _plain(document: Document, folder: Path) -> dict[str, Any]:
    """The document as JSON; pictures and attachments become files beside it."""
    sections = []
    for n, section in enumerate(document.sections):
        blocks = [_block(block, folder / f"figure-{n}-{k}.svg") for k, block in enumerate(section.blocks)]
        sections.append(
            {
                "title": printable(section.title),
                "level": section.level,
                "new_page": section.new_page,
                "keep": section.keep,
                "blocks": blocks,
            }
        )
    attachments = []
    for a in document.attachments:
        # The PDF lists an attachment under its file name; names are ours, never taken from data.
        (folder / a.name).write_bytes(a.data)
        attachments.append({"path": a.name, "type": a.media_type, "description": a.description})
    y, m, d = (int(x) for x in document.date[:10].split("-"))
    return {
        "title": printable(document.title),
        "short": _short(printable(document.title)),
        "subtitle": printable(document.subtitle),
        "kicker": printable(document.kicker),
        "date": [y, m, d],
        "footer": printable(document.footer),
        "language": document.language,
        "paper": {"a4": "a4", "letter": "us-letter"}[document.paper],
        "contents": printable(document.contents),
        "page_of": printable(document.page_of),
        "sections": sections,
        "attachments": attachments,
    }


def _block(block: Any, picture: Path) -> dict[str, Any]:
    if isinstance(block, FigureGrid):
        items = [_block(f, picture.with_stem(f"{picture.stem}-{n}")) for n, f in enumerate(block.items)]
        return {"kind": "FigureGrid", "columns": block.columns, "items": items}
    if isinstance(block, Figure):
        picture.write_text(printable(block.svg), encoding="utf-8")
        words = {"caption": printable(block.caption), "alt": printable(block.alt)}
        return {"kind": "Figure", "path": picture.name, "wide": block.wide, **words}
    plain: dict[str, Any] = {key: _printable(value) for key, value in asdict(block).items()}
    if isinstance(block, TableBlock):
        plain["code"] = sorted(block.code)
        plain["strong"] = sorted(block.strong)
    # `kind` of a notice is its weight; the kind of the block wins the name.
    plain["weight"] = plain.pop("kind", "")
    return {**plain, "kind": type(block).__name__}


def _printable(value: Any) -> Any:
    if isinstance(value, str):
        return printable(value)
    if isinstance(value, dict):
        return {k: _printable(v) for k, v in value.items()}
    if isinstance(value, list | tuple):
        return [_printable(v) for v in value]
    return value


def _short(title: str, most: int = 80) -> str:
    """A title for the head of a page."""
    return title if len(title) <= most else title[: most - 2] + " …"
