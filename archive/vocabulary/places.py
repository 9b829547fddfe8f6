"""Where a link is, as far as it is given: what tells two links of one label at one site apart."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from itertools import combinations
from typing import Any

PLACE = ("building", "floor", "space")
"""What tells two links of one label at one site apart, where it is given."""

Place = tuple[str, ...]
"""Building, floor and space in the form in which they are compared; "" where one is not given."""


def place(row: Mapping[str, Any]) -> Place:
    """Building, floor and space of a row for comparison."""
    return tuple(" ".join(str(row[name] or "").split()).casefold() for name in PLACE)


def said(row: Mapping[str, Any]) -> str:
    """Building, floor and space of a row in words, as they are written; "" where none is given."""
    return ", ".join(f"{name} {row[name]}" for name in PLACE if row.get(name))


def agree(a: Place, b: Place) -> bool:
    """Whether two places may be the same: no part of them differs where both give it."""
    return all(not x or not y or x == y for x, y in zip(a, b, strict=True))


def joined(given: Iterable[Place]) -> Place:
    """One place of several that agree: each part as the first gives it that does."""
    listed = list(given)
    if len(listed) == 1:
        return listed[0]
    return tuple(next((p[i] for p in listed if p[i]), "") for i in range(len(PLACE)))


def grouped(places: Iterable[Place]) -> tuple[list[list[Place]], set[Place]]:
    """Places that agree, together; and those that agree with two others which contradict each other."""
    at = list(dict.fromkeys(places))
    if len({tuple(map(bool, p)) for p in at}) < 2:  # of places that give the same parts no two agree
        return [[p] for p in at], set()
    unsure = {p for p in at if any(not agree(a, b) for a, b in combinations([q for q in at if agree(p, q)], 2))}
    groups: list[list[Place]] = []
    for p in at:
        if p not in unsure:
            home = next((g for g in groups if agree(g[0], p)), None)
            groups.append([p]) if home is None else home.append(p)
    return groups, unsure
