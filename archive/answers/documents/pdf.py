"""A document as PDF: made as PDF/A-3, tagged, bookmarked, fonts inside, the same bytes for the same input."""

from __future__ import annotations

import json
import tempfile
from dataclasses import asdict
from functools import cache
from pathlib import Path
from typing import Any, Literal

from archive.answers.documents.model import Document, Figure

_TEMPLATE = Path(__file__).parent / "templates" / "document.typ"
STANDARD: Literal["a-3a"] = "a-3a"


@cache
def _fonts() -> str:
    """Folder of the DejaVu fonts, which travel with matplotlib; the machine's own fonts are never used."""
    import importlib.util

    found = importlib.util.find_spec("matplotlib")
    assert found is not None and found.origin is not None
    return str(Path(found.origin).parent / "mpl-data" / "fonts" / "ttf")


def pdf(document: Document) -> bytes:
    """The document as PDF bytes. Texts go to the typesetter as data, so that no text can act as markup.

    Errors: RuntimeError where the typesetter refuses the document.
    """
    import typst

    with tempfile.TemporaryDirectory(prefix="muniment-") as name:
        folder = Path(name)
        (folder / "document.typ").write_bytes(_TEMPLATE.read_bytes())
        (folder / "document.json").write_text(json.dumps(_plain(document, folder)), encoding="utf-8")
        made = typst.compile(
            str(folder / "document.typ"),
            root=name,
            font_paths=[_fonts()],
            ignore_system_fonts=True,
            pdf_standards=[STANDARD],
        )
        return bytes(made)


def _plain(document: Document, folder: Path) -> dict[str, Any]:
    """The document as JSON; pictures and attachments become files beside it."""
    sections = []
    for n, section in enumerate(document.sections):
        blocks = []
        for k, block in enumerate(section.blocks):
            if isinstance(block, Figure):
                path = f"figure-{n}-{k}.svg"
                (folder / path).write_text(block.svg, encoding="utf-8")
                blocks.append({"kind": "Figure", "path": path, "caption": block.caption, "alt": block.alt})
                continue
            plain = asdict(block)
            for key in ("strong", "code"):
                if key in plain:
                    plain[key] = sorted(plain[key])
            # `kind` of a notice is its weight; the kind of the block wins the name.
            plain["weight"] = plain.pop("kind", "")
            blocks.append({**plain, "kind": type(block).__name__})
        sections.append(
            {"title": section.title, "level": section.level, "new_page": section.new_page, "blocks": blocks}
        )
    attachments = []
    for a in document.attachments:
        # The PDF lists an attachment under its file name; names are ours, never taken from data.
        (folder / a.name).write_bytes(a.data)
        attachments.append({"path": a.name, "type": a.media_type, "description": a.description})
    y, m, d = (int(x) for x in document.date[:10].split("-"))
    return {
        "title": document.title,
        "subtitle": document.subtitle,
        "kicker": document.kicker,
        "date": [y, m, d],
        "footer": document.footer,
        "language": document.language,
        "paper": {"a4": "a4", "letter": "us-letter"}[document.paper],
        "contents": document.contents,
        "page_of": document.page_of,
        "sections": sections,
        "attachments": attachments,
    }
