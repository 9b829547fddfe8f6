"""What a book is composed from."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from archive.answers.claim.claim_facts import TestedRecord

Row = Mapping[str, Any]


@dataclass(frozen=True)
class BookLink:
    """One link of the job, and what its standing record comes to.

    address: of that record, "" where none stands; why: why none does, or why it has no verdict. margins: smallest
    margin by parameter; values: the worst reading by quantity.
    """

    label: str
    building: str = ""
    floor: str = ""
    space: str = ""
    panel: str = ""
    port: str = ""
    address: str = ""
    digest: str = ""
    why: str = ""
    tested: str = ""
    limit: str = ""
    reported: str = ""
    verdict: str = "not graded"
    marginal: bool = False
    provisional: bool = False
    scheduled: bool = True
    margins: Mapping[str, float] = field(default_factory=dict)
    values: Mapping[str, float] = field(default_factory=dict)

    @property
    def place(self) -> tuple[str, ...]:
        """Building, floor, space, panel."""
        return (self.building, self.floor, self.space, self.panel)

    @property
    def order(self) -> tuple[bool, tuple[str, ...], str]:
        """Where it stands in a book: by place, those without one last."""
        return (not any(self.place), self.place, self.label)


@dataclass(frozen=True)
class Result:
    """Of one standing record: its verdicts, the worst point of each parameter and end, and the instrument's own."""

    verdicts: Sequence[Row]
    grades: Sequence[Row]
    reported: Sequence[Row]


@dataclass(frozen=True)
class BookFacts:
    """Everything about one job.

    links: in the order of the book. progress: the numbers of `progress`. set_aside: parts never read. state: time of
    the newest ledger entry. result: of one link; records: of several, in their order, with their curves.
    """

    job: Row
    links: Sequence[BookLink]
    progress: Row
    instruments: Sequence[Row]
    findings: Sequence[Row]
    documents: Sequence[Row]
    deposits: Sequence[Row]
    set_aside: Sequence[Row]
    head: str
    entries: int
    state: str
    archive_id: str
    result: Callable[[BookLink], Result]
    records: Callable[[Sequence[BookLink]], Iterator[tuple[BookLink, TestedRecord]]]
    cover: str = ""
