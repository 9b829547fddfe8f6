"""A single picture as PNG or PDF, set by the typesetter that sets the documents, with the same fonts."""

from __future__ import annotations

import re
import tempfile
from pathlib import Path

from archive.answers.documents.text import fonts

_POINTS_PER_DOT = 0.72
"""A hundred dots of a picture are an inch."""
_PIXELS_PER_INCH = 160
_PAGE = """
#set document(date: none)
#set page(width: {w}pt, height: {h}pt, margin: 0pt)
#image("picture.svg", width: 100%)
"""


def rendered(svg: str, form: str) -> bytes:
    """SVG text of our own plotter as .png or .pdf."""
    import typst

    width, height = map(int, re.findall(r' (?:width|height)="(\d+)"', svg)[:2])
    with tempfile.TemporaryDirectory(prefix="muniment-") as name:
        folder = Path(name)
        (folder / "picture.svg").write_text(svg, encoding="utf-8")
        page = _PAGE.format(w=width * _POINTS_PER_DOT, h=height * _POINTS_PER_DOT)
        (folder / "page.typ").write_text(page, encoding="utf-8")
        made = typst.compile(
            folder / "page.typ",
            root=folder,
            font_paths=[fonts()],
            ignore_system_fonts=True,
            format="png" if form == ".png" else "pdf",
            ppi=_PIXELS_PER_INCH,
        )
        return bytes(made)
