"""Rows as the parser gives them (dicts of text) turned into the columns of a table."""

from __future__ import annotations

import base64
import binascii
import math
from typing import Any

import pyarrow as pa

from archive.formats.columns import typed
from archive.tables import Column, schema, tables

Row = dict[str, Any]

REALS = {name: tuple(c.name for c in t.columns if c.kind == "real") for name, t in tables().items()}
"""Columns of one real number, by table."""

_TEXTS = {name: tuple(c.name for c in t.columns if c.kind == "texts") for name, t in tables().items()}
_TEXTUAL = {name: frozenset(c.name for c in t.columns if c.kind in ("text", "key")) for name, t in tables().items()}


class ElementFault(Exception):
    """Why one row or record is set aside: reason, what was found, what was expected."""

    def __init__(self, reason: str, found: str = "", expected: str = "") -> None:
        super().__init__(reason)
        self.reason, self.found, self.expected = reason, found, expected


def row(name: str, element: Any) -> Row:
    """One element as a dict: text by column, as it stands, with base64 undone.

    Errors: ElementFault where a number is not finite, or `encoded` does not hold.
    """
    cells: Row = dict(element.attrib)
    content = tables()[name].content
    if content:
        null = cells.pop("null", None)
        cells[content] = None if null is not None else (element.text or "")
        if null is not None and element.text:
            raise ElementFault("a content that is marked as null holds text", element.text[:40])
    encoded = cells.pop("encoded", None)
    if encoded is not None:
        _decode(name, cells, encoded.split())
    for key in _TEXTS[name]:
        if "\\" in cells.get(key, ""):
            cell(name, key, cells[key])
    for key in REALS[name]:
        text = cells.get(key)
        if text is not None and not finite(text):
            raise ElementFault(
                f"{name}.{key} is not a finite number", text, "a finite number, or no attribute where missing"
            )
    return cells


def _decode(name: str, cells: Row, marked: list[str]) -> None:
    for key in marked:
        text = cells.get(key)
        if key not in _TEXTUAL[name] or text is None:
            raise ElementFault(f"encoded names {key}, which is no text here", " ".join(marked))
        try:
            cells[key] = base64.b64decode(text, validate=True).decode()
        except (binascii.Error, UnicodeDecodeError):
            raise ElementFault(f"{name}.{key} is marked as base64 of UTF-8 and is not", text[:40]) from None


def finite(text: str) -> bool:
    """False for NaN and infinity, also where a number is too large for a double.

    The schema has seen the form; but libxml2 lets 1e and 1e+ pass, which are no numbers.
    """
    if "N" in text:
        return False
    if "e" in text or "E" in text:
        try:
            return math.isfinite(float(text))
        except ValueError:
            return False
    return True


def unfinite(text: str) -> str:
    """The first token of an even list that is not a finite number, "" where all are."""
    if "N" in text or "e" in text or "E" in text:
        for token in text.split(" "):
            if token != "-" and not finite(token):
                return token
    return ""


def table(name: str, rows: list[Row], ready: dict[str, Any] | None = None) -> Any:
    """Rows as the Arrow table `name`. ready: columns that are Arrow arrays already.

    Errors: ElementFault for the first cell that its column cannot take.
    """
    ready = ready or {}
    columns = [
        ready[c.name] if c.name in ready else _column(name, c, [r.get(c.name) for r in rows])
        for c in tables()[name].columns
    ]
    return pa.table(columns, schema=schema(name))


def cell(name: str, column: str, text: str) -> None:
    """Errors: ElementFault where the column cannot take the text."""
    _column(name, tables()[name].column(column), [text])


def _column(name: str, column: Column, cells: list[str | None]) -> Any:
    values, bad = typed(column, pa.array(cells, type=pa.string()))
    if bad:
        raise ElementFault(f"{name}.{column.name} cannot be taken", bad[0].found, bad[0].expected)
    return values
