"""What a book is composed from."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from archive.answers.claim.claim_facts import TestedRecord
from archive.answers.job_terms import TermBreach
from archive.answers.photographs import Photograph
from archive.answers.progress import JobLink
from archive.answers.sealing.seal_note import SealNote
from archive.vocabulary.link_counts import LinkCounts, LinkResult

Row = Mapping[str, Any]


@dataclass(frozen=True)
class BookLink:
    """One link of the job, and what its record comes to.

    place: building, floor, space, panel; why: why no record counts, or why that one has no verdict. margins: smallest
    margin by parameter; values: the worst reading by quantity; losses: the largest optical loss in dB by nm.
    """

    link: JobLink
    place: tuple[str, ...]
    why: str = ""
    margins: Mapping[str, float] = field(default_factory=dict)
    values: Mapping[str, float] = field(default_factory=dict)
    losses: Mapping[float, float] = field(default_factory=dict)

    @property
    def label(self) -> str:
        """Its label."""
        return self.link.label

    @property
    def result(self) -> LinkResult:
        """What it comes to."""
        return self.link.result

    @property
    def record(self) -> Row:
        """Row of the catalogue of the record that counts; empty where none does."""
        return self.link.record or {}

    @property
    def address(self) -> str:
        """Address of that record, "" where none counts."""
        return str(self.record.get("address") or "")

    @property
    def limit(self) -> str:
        """The limit that it was tested to, as resolved or else as found."""
        return str(self.record.get("limit_id") or self.record.get("limit_found") or "")

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

    links: in the order of the book; counts, notes: as `progress` has them; terms: what does not keep
    those of the job. set_aside: parts never read. state: time of
    the newest ledger entry. result: of one link; records: of several, in their order, with their curves.
    """

    job: Row
    links: Sequence[BookLink]
    counts: LinkCounts
    notes: Sequence[str]
    terms: Sequence[TermBreach]
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
    photographs: Sequence[Photograph] = ()
    seal: SealNote = field(default=SealNote())
