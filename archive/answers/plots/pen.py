"""Pieces of SVG text: strokes, figures, paths, letters."""

from __future__ import annotations

import math
from functools import cache
from html import escape

import numpy as np

from archive.answers.plots.scale import Array

__all__ = [
    "COMBINATIONS",
    "FONT",
    "GRID",
    "HATCH",
    "HATCH_FILL",
    "INK",
    "LETTERS",
    "PAIRS",
    "SHADE",
    "SOFT",
    "STYLES",
    "curve_styles",
    "escape",
    "figure",
    "haloed",
    "picture",
    "points",
    "stroke",
    "text",
]

# One palette for all pictures, of curves of pairs and combinations as of groups: no blue, green, orange or brown, so
# that no line is read as the wire code. Found by a search over the hues left for the largest smallest difference to
# normal, red-, green- and blue-blind eyes, and parted by lightness, so that they differ in grey print; contrast on
# white 3.4 or more.
PAIRS: tuple[tuple[str, str], ...] = (
    ("#3c0a54", ""),
    ("#9c8700", "7 2.5"),
    ("#7a0a1c", "2.2 2"),
    ("#e43be4", "9 2 2 2"),
)
COMBINATIONS: tuple[tuple[str, str], ...] = (
    ("#8a0a1e", ""),
    ("#c433ee", "7 2.5"),
    ("#17041f", "2.2 2"),
    ("#8f8500", "9 2 2 2"),
    ("#e4607c", "5 2 1.5 2 1.5 2"),
    ("#6a1482", "1 1.6"),
)
_MORE_DASHES = ("12 3", "4 1.4", "9 2 1 2 1 2", "3 3", "6 1.5 1.5 1.5", "1.5 3")
STYLES = COMBINATIONS + tuple((c, dash) for (c, _), dash in zip(COMBINATIONS, _MORE_DASHES, strict=True))
"""Twelve styles: of groups, limits and traces, and of many curves."""
LETTERS = 10.4
"""Size of letters in curve pictures, in dots: more than 7 pt on a page, where 680 dots take 166 mm."""
FONT = "DejaVu Sans, Verdana, sans-serif"
INK, SOFT, GRID, SHADE, FAIL = "#1a1a1a", "#5c5c5c", "#dcdcdc", "#e3e9ee", "#a89e92"
HATCH = (
    '<defs><pattern id="fail" width="6" height="6" patternUnits="userSpaceOnUse" patternTransform="rotate(45)">'
    f'<path d="M0 0v6" stroke="{FAIL}" stroke-width="1"/></pattern></defs>'
)

HATCH_FILL = "url(#fail)"


def curve_styles(count: int) -> tuple[tuple[str, str], ...]:
    """Colour and dashes for so many curves of one picture; beyond twelve they begin anew."""
    if count <= len(PAIRS):
        return PAIRS
    return COMBINATIONS if count <= len(COMBINATIONS) else STYLES * (-(-count // len(STYLES)))


def picture(width: int, height: int, title: str, body: str) -> str:
    """A whole picture as self-contained SVG text with a title for screen readers; the hatch is defined in it."""
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width} {height}" width="{width}" height="{height}" '
        f'role="img" font-family="{FONT}"><title>{escape(title)}</title>{HATCH}{body}</svg>'
    )


def figure(value: float) -> str:
    """A number of dots, to a tenth."""
    return f"{value:.1f}".removesuffix(".0")


def stroke(path: str, colour: str, dash: str, width: float) -> str:
    """A path that is drawn and not filled."""
    dashes = f' stroke-dasharray="{dash}"' if dash else ""
    return f'<path d="{path}" fill="none" stroke="{colour}" stroke-width="{width}" stroke-linejoin="round"{dashes}/>'


def text(
    x: float,
    y: float,
    words: str,
    *,
    anchor: str = "start",
    colour: str = INK,
    size: float = 8.5,
    bold: bool = False,
) -> str:
    """One line of letters."""
    weight = ' font-weight="bold"' if bold else ""
    place = f'x="{figure(x)}" y="{figure(y)}" font-size="{size}" text-anchor="{anchor}"{weight}'
    return f'<text {place} fill="{colour}">{escape(words)}</text>'


def haloed(x: float, y: float, words: str, anchor: str = "start", size: float = 8.5) -> str:
    """One line of letters with a white edge that keeps them readable over curves."""
    place = f'x="{figure(x)}" y="{figure(y)}" font-size="{size}" text-anchor="{anchor}"'
    under = f'<text {place} fill="none" stroke="#fff" stroke-width="3" stroke-linejoin="round">{escape(words)}</text>'
    return under + text(x, y, words, anchor=anchor, size=size)


def points(x: Array, y: Array) -> str:
    """Path through the points, in steps of a tenth of a dot; a missing point lifts the pen."""
    out: list[str] = []
    last: tuple[int, int] | None = None
    began = False
    for a, b in zip(np.round(x * 10).tolist(), np.round(y * 10).tolist(), strict=True):
        if math.isnan(b):
            last = None
            continue
        here = (int(a), int(b))
        if last is None:
            out.append(f"M{figure(here[0] / 10)} {figure(here[1] / 10)}")
            began = False
        elif here != last:
            # Only the first step of a run needs its letter, and no number a nought before its point.
            out.append(("" if began else "l") + _step(here[0] - last[0], began) + _step(here[1] - last[1], True))
            began = True
        last = here
    return "".join(out)


@cache
def _step(tenths: int, after: bool) -> str:
    """A distance of so many tenths of a dot; after: something stands before it."""
    sign = "-" if tenths < 0 else " " if after else ""
    whole, rest = divmod(abs(tenths), 10)
    return f"{sign}{whole or ('' if rest else '0')}{f'.{rest}' if rest else ''}"
