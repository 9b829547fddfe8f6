"""Templates of the room. Every text of an archive is escaped on its way into a page, and nothing in it can hide."""

from __future__ import annotations

from functools import cache
from pathlib import Path
from typing import Any
from urllib.parse import urlencode

from jinja2 import Environment, FileSystemLoader, StrictUndefined
from markupsafe import Markup, escape

from archive import vocabulary
from archive.answers.documents.text import visible
from archive.answers.wording import Wording
from archive.store.head_digits import grouped

_HERE = Path(__file__).parent
STATIC = _HERE / "static"


@cache
def _environment() -> Environment:
    made = Environment(
        loader=FileSystemLoader(_HERE / "templates"),
        autoescape=True,
        undefined=StrictUndefined,
        finalize=_finalize,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    made.filters["term"] = lambda word: str(word or "").replace("_", " ").replace("-", " ")
    made.filters["digits"] = grouped
    made.filters["db"] = _decibels
    made.filters["tenths"] = _tenths
    made.filters["signed"] = _signed
    made.filters["kind"] = lambda block: type(block).__name__
    return made


def render(template: str, **values: Any) -> str:
    """A page or a part of one. Errors: jinja2.UndefinedError where a template asks for what is not given."""
    return _environment().get_template(template).render(**values)


def address(base: str, path: str, **query: str | int | list[str] | None) -> str:
    """An address of the room. What comes from an archive goes into the query, never into the path."""
    given = {name: value for name, value in query.items() if value not in (None, "", [])}
    return base + path + ("?" + urlencode(given, doseq=True) if given else "")


def _decibels(value: float | None) -> str:
    return "" if value is None else f"{_tenths(value, signed=True)} dB"


def _signed(value: float, parameter: str, words: Wording, digits: int | None = None) -> str:
    """A margin with its sign and unit. digits: where they are not those that the unit deserves."""
    unit = vocabulary.parameter(parameter).unit
    shown = words.margin(value, unit) if digits is None else words.number(value, digits)
    return f"{'+' if value > 0 else ''}{shown} {words.unit(unit)}"


def _tenths(value: float, signed: bool = False) -> str:
    shown = round(value, 1) + 0.0  # no minus zero
    return (f"{shown:+.1f}" if signed else f"{shown:.1f}").replace("-", "\u2212")


def _finalize(value: object) -> object:
    """None prints nothing; a text prints as itself, with what would turn or hide the rest of the line made visible."""
    if value is None:
        return ""
    return escape(visible(value)) if isinstance(value, str) and not isinstance(value, Markup) else value
