"""Labels of links as ranges: 3-TR10-001 to 100 instead of a hundred labels."""

from __future__ import annotations

import re
from collections.abc import Iterable

_LAST_NUMBER = re.compile(r"(.*?)(\d+)(\D*)")
_LEAST = 3
"""So many labels in a row are written as a range."""
_ANY_DIGITS = 18
"""Longer numbers are no counting."""


def ranges(labels: Iterable[str]) -> list[str]:
    """Labels in their order; those that count upwards by one, alike but for their last number, as one range."""
    made: list[str] = []
    run: list[str] = []
    for label in labels:
        if run and _follows(run[-1], label):
            run.append(label)
            continue
        made += _written(run)
        run = [label]
    return made + _written(run)


def _written(run: list[str]) -> list[str]:
    if len(run) < _LEAST:
        return run
    last = _LAST_NUMBER.fullmatch(run[-1])
    assert last is not None
    return [f"{run[0]} to {last[2]}{last[3]}"]


def _follows(a: str, b: str) -> bool:
    """Whether a label is the next after another: its last number is one more, written with as many digits."""
    first, second = _LAST_NUMBER.fullmatch(a), _LAST_NUMBER.fullmatch(b)
    if first is None or second is None or max(len(first[2]), len(second[2])) > _ANY_DIGITS:
        return False
    if (first[1], first[3]) != (second[1], second[3]) or int(second[2]) != int(first[2]) + 1:
        return False
    return len(first[2]) == len(second[2]) or not (first[2].startswith("0") or second[2].startswith("0"))
