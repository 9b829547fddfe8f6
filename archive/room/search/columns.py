"""Columns of the reader's choice: facts of the record that is shown, and the margin of any parameter."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from archive import vocabulary
from archive.answers.wording import Wording
from archive.room.search.measured import Measured
from archive.store import Archive
from archive.store.catalogue.search import SHOWN

_AT_ONCE = 500
MARGIN = "margin:"
"""Before the name of a parameter: the column of its worst margin."""

USUAL = ("verdict", "leading_margin", "tested", "site", "job", "cable_type", "tests")
"""Columns where none were chosen."""

FACTS = (
    *USUAL,
    "limit",
    "reported",
    "role",
    "building",
    "floor",
    "space",
    "length_m",
    "configuration",
    "evidence",
    "medium",
    "unit",
    "far_unit",
    "cable_found",
    "record",
)


@dataclass(frozen=True)
class ChosenColumn:
    """One column. number: its cells are numbers."""

    name: str
    head: str
    number: bool = False


def headings(words: Wording) -> dict[str, ChosenColumn]:
    """Every column of facts."""
    heads = {
        "verdict": words("Counts now"),
        "leading_margin": words("Leading margin"),
        "tested": words("Tested"),
        "site": words("Site"),
        "job": words("Job"),
        "cable_type": words("Cable"),
        "tests": words("Tests"),
        "limit": words("Limit"),
        "reported": words("The instrument said"),
        "role": words("Role"),
        "building": words("Building"),
        "floor": words("Floor"),
        "space": words("Space"),
        "length_m": words("Length"),
        "configuration": words("Configuration"),
        "evidence": words("Evidence"),
        "medium": words("Medium"),
        "unit": words("Unit, local end"),
        "far_unit": words("Unit, remote end"),
        "cable_found": words("Cable as found"),
        "record": words("Record"),
    }
    return {name: ChosenColumn(name, heads[name], name in ("leading_margin", "tests", "length_m")) for name in FACTS}


def chosen(given: Sequence[str], words: Wording) -> list[ChosenColumn]:
    """Columns by what an address names, in its order; what is not known is left out, and none means the usual ones."""
    known = headings(words)
    out = []
    for name in dict.fromkeys(given):
        if name in known:
            out.append(known[name])
        elif name.removeprefix(MARGIN) in vocabulary.parameters() and name.startswith(MARGIN):
            printed = words.parameter(name.removeprefix(MARGIN))
            out.append(ChosenColumn(name, words("Margin of {parameter}", parameter=printed), number=True))
    return out or [known[name] for name in USUAL]


def records(archive: Archive, rows: Iterable[int]) -> dict[int, dict[str, Any]]:
    """Rows of the catalogue by number, with the number of tests of each link."""
    wanted, out = list(rows), {}
    for low in range(0, len(wanted), _AT_ONCE):
        some = wanted[low : low + _AT_ONCE]
        marks = ", ".join("?" * len(some))
        for r in archive.db.execute(f"SELECT {SHOWN}, tests FROM records r WHERE row IN ({marks})", some):
            out[int(r["row"])] = dict(r)
    return out


def margins(
    archive: Archive, measured: Measured, columns: Sequence[ChosenColumn], rows: Sequence[int]
) -> Mapping[str, list[float | None] | None]:
    """By column of a margin its values for some rows; None for a column that is still being worked out."""
    out: dict[str, list[float | None] | None] = {}
    for column in columns:
        if column.name.startswith(MARGIN):
            found = measured.margins(archive, column.name.removeprefix(MARGIN))
            out[column.name] = None if found is None else [_at(found, row) for row in rows]
    return out


def _at(values: Any, row: int) -> float | None:
    return None if row >= len(values) or np.isnan(values[row]) else float(values[row])
