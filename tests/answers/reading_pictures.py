"""Reads our pictures back: what stands where, by the figures at the axes."""

from __future__ import annotations

import re
from dataclasses import dataclass
from xml.etree import ElementTree

import numpy as np
from numpy.typing import NDArray

SVG = "{http://www.w3.org/2000/svg}"


@dataclass
class Drawn:
    """One stroked path in the values of its axes; pen: its colour, dash and width."""

    x: NDArray[np.float64]
    y: NDArray[np.float64]
    pen: tuple[str, str, float]


@dataclass
class Field:
    """One panel: what is written in it, the figures at its axes, its curves."""

    texts: list[str]
    across: list[str]
    down: list[str]
    lines: list[Drawn]


def fields(svg: str, log: bool = False) -> list[Field]:
    """Every panel of a picture. log: whether the axis across is logarithmic."""
    return [_field(g, log) for g in ElementTree.fromstring(svg).findall(f"{SVG}g")]


def _field(g: ElementTree.Element, log: bool) -> Field:
    texts = g.findall(f"{SVG}text")
    ticks = [t for t in texts if t.get("font-size") == "9.5"]
    across = [t for t in ticks if t.get("text-anchor") == "middle"]
    down = [t for t in ticks if t.get("text-anchor") == "end"]
    lines = []
    if all(_number(t) is not None for t in (*across, *down)) and len(across) > 1 and len(down) > 1:
        values = np.array([_number(t) for t in across], float)
        xs = np.polyfit([float(t.get("x", "")) for t in across], np.log(values) if log else values, 1)
        ys = np.polyfit([float(t.get("y", "")) - 3.4 for t in down], [_number(t) for t in down], 1)
        for path in g.findall(f"{SVG}path"):
            points = _points(path.get("d", ""))
            if path.get("fill") == "none" and len(points) > 1:
                x = np.polyval(xs, points[:, 0])
                pen = path.get("stroke", ""), path.get("stroke-dasharray", ""), float(path.get("stroke-width", ""))
                lines.append(Drawn(np.exp(x) if log else x, np.polyval(ys, points[:, 1]), pen))
    return Field([t.text or "" for t in texts], [t.text or "" for t in across], [t.text or "" for t in down], lines)


def _number(text: ElementTree.Element) -> float | None:
    words = (text.text or "").removesuffix(" %").replace(",", "")
    try:
        return float(words)
    except ValueError:
        return None


def _points(path: str) -> NDArray[np.float64]:
    """Corners of a path of M and l; none of any other."""
    if not re.fullmatch(r"[Ml\d. -]+", path):
        return np.empty((0, 2))
    found: list[tuple[float, float]] = []
    for letter, numbers in re.findall(r"([Ml])([^Ml]*)", path):
        values = [float(n) for n in re.findall(r"-?(?:\d+\.?\d*|\.\d+)", numbers)]
        for x, y in zip(values[::2], values[1::2], strict=True):
            found.append((x, y) if letter == "M" else (found[-1][0] + x, found[-1][1] + y))
    return np.array(found)
