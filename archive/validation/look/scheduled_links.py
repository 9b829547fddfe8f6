"""The schedule of a job: its lines, each one label at one place, and which of them a link may be."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import pyarrow as pa

from archive.validation.look.labels import plain
from archive.vocabulary.places import PLACE, Place, agree, place

Row = Mapping[str, Any]
LineKey = tuple[str, ...]
"""Label, and building, floor and space in the form in which they are compared; "" where one is not given."""


def line_key(row: Row) -> LineKey:
    """What tells a line of a schedule from the others."""
    return (str(row["link_label"]), *place(row))


def lines_of(schedule: pa.Table, places: pa.Table) -> list[dict[str, Any]]:
    """Rows of the table "schedule", with building, floor and space of each as far as the table "places" has them."""
    known = {row["place_id"]: row for row in places.to_pylist()}
    blank = dict.fromkeys(PLACE)
    at = (known.get(place_id, blank) for place_id in schedule["local_place_id"].to_pylist())
    return [{**row, **{k: p[k] for k in PLACE}} for row, p in zip(schedule.to_pylist(), at, strict=True)]


class ScheduledLinks:
    """Links that were to be built, from rows as lines_of gives them. Of several versions the latest counts.

    lines: rows by label and place. A label that is not there to the letter is looked for without regard to case, blanks
    and kinds of dashes, and found only where it means one label.
    """

    def __init__(self, listed: Sequence[Row]) -> None:
        latest = max((r["version"] or "" for r in listed), default="")
        self.lines: dict[LineKey, Row] = {line_key(r): r for r in listed if (r["version"] or "") == latest}
        self._of_label: dict[str, list[LineKey]] = {}
        for key in self.lines:
            self._of_label.setdefault(key[0], []).append(key)
        self._plain: dict[str, list[str]] = {}
        for label in self._of_label:
            self._plain.setdefault(plain(label), []).append(label)

    def has(self, label: str) -> bool:
        """Whether a label is that of a line to the letter."""
        return label in self._of_label

    def label_of(self, label: str) -> str | None:
        """The scheduled label that a label means; None where the schedule has none, or several."""
        if self.has(label):
            return label
        near = self._plain.get(plain(label), [])
        return near[0] if len(near) == 1 else None

    def places(self, label: str) -> int:
        """At how many places the label is scheduled."""
        return len(self._of_label.get(self.label_of(label) or "", ()))

    def candidates(self, label: str, at: Place) -> list[LineKey]:
        """Lines that a link of this label may be. The only line of a label is, wherever its tests were made; of several
        those are whose places agree with the link's as far as both are given."""
        keys = self._of_label.get(self.label_of(label) or "", [])
        return list(keys) if len(keys) < 2 else [k for k in keys if agree(k[1:], at)]

    def value(self, lines: Sequence[LineKey], column: str) -> str:
        """What the schedule says of a link that is one of some lines, "" where it says nothing or the lines differ."""
        said = {self.lines[key].get(column) or "" for key in lines}
        return str(said.pop()) if len(said) == 1 else ""

    def key(self, label: str) -> str:
        """What tells labels apart: the label where the schedule has it among look-alikes, else its plain form."""
        near = self._plain.get(plain(label), [])
        return label if len(near) > 1 and self.has(label) else plain(label)
