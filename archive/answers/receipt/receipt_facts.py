"""What a receipt is made of."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from archive.answers.progress import Progress
from archive.store.deposits import Receipt


@dataclass(frozen=True)
class ReceiptFacts:
    """made: what the store says of the deposit, as it is or as it would be. archive: its folder as it was named.
    progress: of the job as it stands now, None where it was not asked. dry_run: nothing was written. inputs: what was
    handed in just now, as it was named. archive_id: what the archive is called in its ledger."""

    made: Receipt
    archive: str
    job: str | None = None
    progress: Progress | None = None
    dry_run: bool = False
    inputs: Sequence[Path] = ()
    archive_id: str = ""
    told: dict[str, Any] = field(init=False)

    def __post_init__(self) -> None:
        object.__setattr__(self, "told", self.made.plain())
