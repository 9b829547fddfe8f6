"""A document as one HTML file that asks nothing of any other place."""

from __future__ import annotations

import re
from functools import cache
from itertools import count
from pathlib import Path

from jinja2 import Environment, FileSystemLoader, StrictUndefined
from markupsafe import Markup, escape

from archive.answers.documents.model import Document
from archive.answers.documents.text import visible

_TEMPLATES = Path(__file__).parent / "templates"
_LONG = 22
"""Letters from which a word may break."""


@cache
def _environment() -> Environment:
    made = Environment(
        loader=FileSystemLoader(_TEMPLATES),
        autoescape=True,
        undefined=StrictUndefined,
        finalize=_finalize,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    made.filters["wrapped"] = _wrapped
    made.filters["whole"] = _whole
    made.filters["kind"] = lambda block: type(block).__name__
    return made


def html(document: Document) -> str:
    """The document as self-contained HTML: no script, no request to anywhere; every text is shown as text."""
    style = Markup((_TEMPLATES / "document.css").read_text(encoding="utf-8"))
    numbers = count(1)

    def picture(svg: str) -> Markup:
        """The SVG of our own plotter, which escapes all texts itself, made to fit the page's width."""
        # Pictures share the id of their hatch; in one page each needs its own.
        n = next(numbers)
        own = visible(svg).replace('id="fail"', f'id="fail{n}"').replace("url(#fail)", f"url(#fail{n})")
        return Markup(re.sub(r' width="\d+" height="\d+"', "", own, count=1))

    return _environment().get_template("document.html").render(doc=document, style=style, picture=picture)


_PIECES = re.compile(r"[^/_.-]{1,18}[/_.-]*|[/_.-]+")


def _wrapped(text: str) -> Markup:
    """A text in which long words may break; the places leave no mark in what is copied."""
    shown = visible(text)
    if len(shown) <= _LONG:
        return escape(shown)
    words = (Markup("<wbr>").join(_PIECES.findall(w)) if len(w) > _LONG else escape(w) for w in shown.split(" "))
    return Markup(" ").join(words)


def _whole(text: str) -> bool:
    """Whether a cell is one short word that may not break at its hyphens: a label, a day, a pair."""
    return "-" in text and " " not in text and len(text) <= _LONG


def _finalize(value: object) -> object:
    """Every text of a document on its way into the page; what is markup already is ours."""
    return escape(visible(value)) if isinstance(value, str) and not isinstance(value, Markup) else value
