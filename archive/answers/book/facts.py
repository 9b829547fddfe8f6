"""What a book is composed from."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from archive.answers.claim.facts import Tested

Row = Mapping[str, Any]


@dataclass(frozen=True)
class BookLink:
    """One link of the job. load reads its standing record from its bag; None where no record stands.

    margins: smallest margin by parameter; values: scalar readings by quantity, the worst of the pairs.
    """

    label: str
    building: str
    floor: str
    space: str
    panel: str
    port: str
    state: str
    tested: str
    limit: str
    reported: str
    verdict: str
    reason: str
    marginal: bool
    provisional: bool
    cable_type: str
    margins: Mapping[str, float] = field(default_factory=dict)
    values: Mapping[str, float] = field(default_factory=dict)
    load: Callable[[], Tested] | None = None

    @property
    def place(self) -> tuple[str, ...]:
        """Building, floor, space, panel."""
        return (self.building, self.floor, self.space, self.panel)


@dataclass(frozen=True)
class BookFacts:
    """Everything about one job. progress: the numbers of `progress`; state: time of the newest ledger entry."""

    job: Row
    links: Sequence[BookLink]
    progress: Row
    instruments: Sequence[Row]
    findings: Sequence[Row]
    documents: Sequence[Row]
    deposits: Sequence[Row]
    head: str
    entries: int
    state: str
    archive_id: str
    cover: str = ""
