"""Margins of one parameter over all links of a job, small: one point for each link, the smallest to the left."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from markupsafe import Markup, escape
from numpy.typing import NDArray

from archive import vocabulary
from archive.answers.wording import Wording

_WIDE, _TALL, _EDGE = 220, 90, 6
_MOST = 400
"""Points that are drawn; of more links every so many, the smallest always."""


@dataclass(frozen=True)
class Multiple:
    """One small picture. sentence: what it shows, in words; least: the smallest margin."""

    name: str
    unit: str
    svg: Markup
    sentence: str
    least: float


def multiple(name: str, margins: NDArray[np.float32], labels: Sequence[str], words: Wording) -> Multiple:
    """The picture of a parameter. margins: one for each label, NaN for none; at least one is a number."""
    there = np.flatnonzero(np.isfinite(margins))
    order = there[np.argsort(margins[there], kind="stable")]
    values = margins[order].astype(float)
    unit = vocabulary.parameter(name).unit
    least = labels[int(order[0])]
    below = int((values < 0).sum())
    sentence = words(
        "{parameter}: smallest margin {least} {unit} ({label}), middle {middle} {unit}; {below} of {count} links are "
        "below nought.",
        parameter=words.parameter(name),
        least=words.margin(float(values[0]), unit),
        label=least,
        middle=words.margin(float(np.median(values)), unit),
        unit=words.unit(unit),
        count=len(values),
        below=below,
    )
    return Multiple(name, unit, _drawn(values, sentence), sentence, float(values[0]))


def _drawn(values: NDArray[np.float64], title: str) -> Markup:
    low, high = min(0.0, float(values[0])), max(float(np.percentile(values, 98)), 1e-9)
    shown = np.unique(np.linspace(0, len(values) - 1, min(len(values), _MOST)).astype(int))

    def y(value: float) -> float:
        part = (min(value, high) - low) / (high - low)
        return round(_TALL - _EDGE - part * (_TALL - 2 * _EDGE), 1)

    wide = _WIDE - 2 * _EDGE
    parts = [f'<path class="nought" d="M0 {y(0.0)}H{_WIDE}"/>']
    for at in shown:
        x = round(_EDGE + (wide * at / max(1, len(values) - 1)), 1)
        v = float(values[at])
        if v < 0:
            parts.append(f'<rect x="{x - 3}" y="{y(v) - 3}" width="6" height="6"/>')
        else:
            parts.append(f'<circle cx="{x}" cy="{y(v)}" r="1.8"/>')
    head = f'<svg viewBox="0 0 {_WIDE} {_TALL}" role="img" aria-label="{escape(title)}">'
    return Markup(head + "".join(parts) + "</svg>")
