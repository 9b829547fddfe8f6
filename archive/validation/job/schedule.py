"""The schedule of a job as rules look at it."""

from __future__ import annotations

from typing import Any

from archive.validation.labels import plain


class Schedule:
    """Links that were to be built, from rows of the table "schedule". Of several versions the latest counts.

    rows: by label as written. A label that is not there to the letter is looked for without regard to case, blanks
    and kinds of dashes, and found only where it means one link.
    """

    def __init__(self, table: Any) -> None:
        listed = table.to_pylist()
        latest = max((r["version"] or "" for r in listed), default="")
        self.rows: dict[str, dict[str, Any]] = {r["link_label"]: r for r in listed if (r["version"] or "") == latest}
        self._plain: dict[str, list[str]] = {}
        for label in self.rows:
            self._plain.setdefault(plain(label), []).append(label)

    def label_of(self, label: str) -> str | None:
        """The scheduled label that a label means; None where the schedule has none, or several."""
        if label in self.rows:
            return label
        near = self._plain.get(plain(label), [])
        return near[0] if len(near) == 1 else None

    def key(self, label: str) -> str:
        """What tells links apart: the label itself where the schedule has it among look-alikes, else its plain form."""
        near = self._plain.get(plain(label), [])
        return label if len(near) > 1 and label in self.rows else plain(label)

    def __len__(self) -> int:
        return len(self.rows)
