"""Whether a file holds measured numbers that no table took: lists of numbers and no curve, values and no value."""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from typing import Any

import pyarrow.compute as pc

from archive.formats.base.findings import finding
from archive.tables import Batch

_NUMBER = r"[<>]?[-+]?\d+(?:[.,]\d+)?"
_MEASURED = re.compile(rf"\s*{_NUMBER}\s*(?:dB|ns|m|ft|ohm|Ω|MHz|kHz|Hz|%)?\s*", re.IGNORECASE)
_LISTED = r"[<>]?[-+]?\d+(?:\.\d+)?"
_LIST = re.compile(rf"\s*(?:{_LISTED}[\s;,:|/]+){{7,}}{_LISTED}\s*[;,]?\s*")
"""Eight numbers or more in one cell. A comma parts two, also where it may be that of a fraction: taken as either, a
list that ends in a word would be tried in every way."""
_FRACTION = re.compile(r"\d[.,]\d")
_ENOUGH = 4
"""Columns of fractions that are no accident: a row of one count, a date and a version has fewer."""
_LOOKED_AT = 5_000
"""Extras of a batch that are looked at."""


@dataclass
class NotPlaced:
    """Counts over the batches of one file."""

    records: int = 0
    curves: int = 0
    values: int = 0
    lists: set[str] = field(default_factory=set)
    numbers: set[str] = field(default_factory=set)

    def look(self, batch: Batch) -> None:
        """Takes one more batch into account."""
        self.records += len(batch)
        self.curves += batch["sweeps"].num_rows
        reported = batch["reported"]
        self.values += batch["readings"].num_rows + len(reported) - _empty(reported)
        if self.curves:
            return
        some = batch["extras"].slice(0, _LOOKED_AT)
        for name, value in zip(some["name"].to_pylist(), some["value"].to_pylist(), strict=True):
            if value and _LIST.fullmatch(value):
                self.lists.add(name)
            elif value and _FRACTION.search(value) and _MEASURED.fullmatch(value):
                self.numbers.add(name)

    def findings(self, where: str) -> list[dict[str, Any]]:
        """What is to be said of the file, at its end."""
        if not self.records or self.curves:
            return []
        if self.lists:
            found, expected = f"lists of numbers in {_some(self.lists)}", "no curve came of the file"
        elif not self.values and len(self.numbers) >= _ENOUGH:
            found, expected = f"numbers in {_some(self.numbers)}", "no measured value came of the file"
        else:
            return []
        return [finding("reading", "numbers-not-placed", where=where, found=found, expected=expected)]


def _empty(reported: Any) -> int:
    """Rows of `reported` that hold a verdict alone."""
    nothing = pc.and_(pc.is_null(reported["value"]), pc.is_null(reported["margin"]))
    return int(pc.sum(nothing).as_py() or 0)


def _some(names: set[str]) -> str:
    listed = [repr(n) for n in sorted(names)]
    return ", ".join(listed[:3]) + (f" and {len(listed) - 3} other columns" if len(listed) > 3 else "")
