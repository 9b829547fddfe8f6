"""Pieces of SVG text: strokes, figures, paths, letters."""

from __future__ import annotations

import math
from functools import cache
from html import escape

import numpy as np

from archive.answers.plots.scale import Array

# Okabe and Ito's colours (Color Universal Design, 2008) in an order that also differs in lightness, then darker and
# lighter ones of them, each with a dash of its own, so that the curves can be told apart without colour.
STYLES: tuple[tuple[str, str], ...] = (
    ("#0072b2", ""),
    ("#d55e00", "7 2.5"),
    ("#009e73", "2.2 2"),
    ("#7a4b94", "9 2 2 2"),
    ("#8a6d00", "5 2 1.5 2 1.5 2"),
    ("#1f6f9f", "1 1.6"),
    ("#a03a00", "12 3"),
    ("#00614a", "4 1.4"),
    ("#c0669a", "9 2 1 2 1 2"),
    ("#555555", "3 3"),
    ("#4aa3d8", "6 1.5 1.5 1.5"),
    ("#e08a3c", "1.5 3"),
)
FONT = "DejaVu Sans, Verdana, sans-serif"
INK, SOFT, GRID, SHADE, FAIL = "#1a1a1a", "#5c5c5c", "#dcdcdc", "#e3e9ee", "#a89e92"
HATCH = (
    '<defs><pattern id="fail" width="6" height="6" patternUnits="userSpaceOnUse" patternTransform="rotate(45)">'
    f'<path d="M0 0v6" stroke="{FAIL}" stroke-width="1"/></pattern></defs>'
)

__all__ = ["FONT", "GRID", "HATCH", "INK", "SHADE", "SOFT", "STYLES", "escape", "figure", "points", "stroke", "text"]


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
    weight: str = "",
    halo: bool = False,
) -> str:
    """One line of letters; halo: with a white edge that keeps them readable over curves."""
    place = f'x="{figure(x)}" y="{figure(y)}" font-size="{size}" text-anchor="{anchor}"'
    if weight:
        place += f' font-weight="{weight}"'
    letters = escape(words)
    under = f'<text {place} fill="none" stroke="#fff" stroke-width="3" stroke-linejoin="round">{letters}</text>'
    return (under if halo else "") + f'<text {place} fill="{colour}">{letters}</text>'


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
def _step(tenths: int, parted: bool) -> str:
    """A distance of so many tenths of a dot; parted: something stands before it."""
    sign = "-" if tenths < 0 else " " if parted else ""
    whole, rest = divmod(abs(tenths), 10)
    return f"{sign}{whole or ('' if rest else '0')}{f'.{rest}' if rest else ''}"
