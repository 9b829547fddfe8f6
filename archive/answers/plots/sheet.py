"""A picture made of axes: a heading above, a legend, and what the picture is saved as."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import NamedTuple

from archive.answers.documents.picture import rendered
from archive.answers.plots.axes import Axes, Style, marker
from archive.answers.plots.pen import SOFT, picture, stroke, text
from archive.atomic import write_bytes
from archive.errors import Trouble

FORMS = (".svg", ".png", ".pdf")
HEAD = 62
"""Dots that the heading takes."""


class Key(NamedTuple):
    """One entry of a legend. marker: shape, colour and fill, or nothing."""

    label: str
    style: Style
    width: float
    marker: tuple[str, str, str] | None = None


class Sheet:
    """A picture of a size in dots; its axes are drawn in the order in which they were added."""

    def __init__(self, width: int, height: int, title: str, under: str, about: str = "") -> None:
        self.width, self.height, self._title = width, height, title
        self.parts = [
            '<rect width="100%" height="100%" fill="#fff"/>',
            text(10, 22, title, size=13.5, bold=True),
            text(10, 40, under, colour=SOFT, size=9.5),
            *([text(10, 55, about, colour=SOFT, size=9.5)] if about else []),
        ]

    def add(self, axes: Axes) -> None:
        """Puts axes on the sheet."""
        self.parts.append(f"<g>{''.join(axes.parts)}</g>")

    def legend(self, keys: Sequence[Key], left: float, top: float, columns: int) -> None:
        """Entries in columns of equal width, from an upper left corner."""
        wide = max((58 + letters(k.label, 9) for k in keys), default=0.0)
        for n, key in enumerate(keys):
            x, y = left + wide * (n % columns), top + 16 * (n // columns)
            self.parts.append(stroke(f"M{x:.1f} {y:.1f}h32", *key.style, key.width))
            if key.marker:
                self.parts.append(marker(x + 16, y, *key.marker))
            self.parts.append(text(x + 40, y + 3.2, key.label, size=9))

    def svg(self) -> str:
        """The picture as self-contained SVG text."""
        return picture(self.width, self.height, self._title, "".join(self.parts))


def letters(words: str, size: float) -> float:
    """Room that words take, in dots: a little more than letters of this size need on average."""
    return 0.6 * size * len(words)


def left_of(labels: Sequence[str]) -> float:
    """Left edge of axes that have these labels beside them."""
    return 22 + max((letters(label, 9.5) for label in labels), default=0.0)


def checked_form(out: Path) -> str:
    """The form that a file's ending names. Errors: Trouble for one that cannot be drawn."""
    form = out.suffix.lower()
    if form not in FORMS:
        raise Trouble(
            "a picture of this kind cannot be drawn",
            code="picture.unknown-form",
            where=str(out),
            expected=".svg, .png or .pdf",
        )
    return form


def save_sheet(sheet: Sheet, out: Path) -> None:
    """Writes a picture into a file whose ending names its form, in one step. The same picture gives the same bytes."""
    form = checked_form(out)
    write_bytes(out, sheet.svg().encode() if form == ".svg" else rendered(sheet.svg(), form))
