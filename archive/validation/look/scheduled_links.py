"""The schedule of a job as rules look at it."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from archive.validation.look.labels import plain


class ScheduledLinks:
    """Links that were to be built, from rows of the table "schedule". Of several versions the latest counts.

    rows: by label as written. A label that is not there to the letter is looked for without regard to case, blanks
    and kinds of dashes, and found only where it means one link.
    """

    def __init__(self, listed: Sequence[Mapping[str, Any]]) -> None:
        latest = max((r["version"] or "" for r in listed), default="")
        self.rows: dict[str, Mapping[str, Any]] = {r["link_label"]: r for r in listed if (r["version"] or "") == latest}
        self._plain: dict[str, list[str]] = {}
        for label in self.rows:
            self._plain.setdefault(plain(label), []).append(label)

    def label_of(self, label: str) -> str | None:
        """The scheduled label that a label means; None where the schedule has none, or several."""
        if label in self.rows:
            return label
        near = self._plain.get(plain(label), [])
        return near[0] if len(near) == 1 else None

    def value(self, label: str, column: str) -> str:
        """What the schedule says of the link that a label means, "" where it says nothing."""
        return self.rows.get(self.label_of(label) or "", {}).get(column) or ""

    def key(self, label: str) -> str:
        """What tells links apart: the label itself where the schedule has it among look-alikes, else its plain form."""
        near = self._plain.get(plain(label), [])
        return label if len(near) > 1 and label in self.rows else plain(label)

    def missing(self, labels: Iterable[str]) -> list[str]:
        """Scheduled labels that none of some labels means, in the order of the schedule."""
        there = {self.label_of(x) for x in dict.fromkeys(labels)}
        return [label for label in self.rows if label not in there]

    def unexpected(self, labels: Iterable[str]) -> list[str]:
        """Those of some labels that the schedule does not have, in their order."""
        return [x for x in dict.fromkeys(labels) if x.strip() and self.label_of(x) is None]

    def __len__(self) -> int:
        return len(self.rows)
