"""A document as one HTML file that asks nothing of any other place."""

from __future__ import annotations

import re
from functools import cache
from pathlib import Path

from jinja2 import Environment, FileSystemLoader, StrictUndefined
from markupsafe import Markup

from archive.answers.documents.model import Document

_TEMPLATES = Path(__file__).parent / "templates"


@cache
def _environment() -> Environment:
    made = Environment(loader=FileSystemLoader(_TEMPLATES), autoescape=True, undefined=StrictUndefined)
    made.filters["kind"] = lambda block: type(block).__name__
    made.filters["anchor"] = anchor
    made.filters["picture"] = _picture
    return made


def html(document: Document) -> str:
    """The document as self-contained HTML: no script, no request to anywhere; every text is shown as text."""
    style = Markup((_TEMPLATES / "document.css").read_text(encoding="utf-8"))
    page = _environment().get_template("document.html").render(doc=document, style=style)
    # Pictures share the ids of their patterns; each needs its own in one page.
    counter = iter(range(1, page.count('id="fail"') + 1))
    parts = page.split("<svg ")
    for k, part in enumerate(parts):
        if 'id="fail"' in part:
            n = next(counter)
            parts[k] = part.replace('id="fail"', f'id="fail{n}"').replace("url(#fail)", f"url(#fail{n})")
    return "<svg ".join(parts)


def anchor(title: str) -> str:
    """A name for a heading that a link can point to."""
    return re.sub(r"[^a-z0-9]+", "-", title.lower()).strip("-") or "section"


def _picture(svg: str) -> Markup:
    """The SVG of our own plotter, which escapes all texts itself, made to fit the page's width."""
    return Markup(re.sub(r' width="\d+" height="\d+"', "", svg, count=1))
