"""What a task of the desk gets, and what it gives."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from archive.room.desk.report import WorkReport
from archive.room.desk.work import WorkRequest
from archive.store import Archive
from archive.store.ledger.entry import Sign


@dataclass(frozen=True)
class Ordered:
    """What a task gets. desk: the desk's folder. sign: what signs entries, if anything does."""

    desk: Path
    folder: Path
    request: WorkRequest
    archive: Archive
    sign: Sign | None
    report: WorkReport

    @property
    def what(self) -> Any:
        """What was asked."""
        return self.request.what


Task = Callable[[Ordered], tuple[str, dict[str, Any]]]
"""Does the work; gives "done" or "look", and what the last state says."""
