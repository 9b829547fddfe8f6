"""The claim file as a document."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence

from archive.answers.claim import applications, claim_case, sections, stated, timeline
from archive.answers.claim.claim_facts import ClaimFacts
from archive.answers.claim.compare import conflict, fresh_test
from archive.answers.claim.custody import custody, method
from archive.answers.claim.front import front
from archive.answers.claim.optical_tests import optical_tests
from archive.answers.claim.record_pages import record_pages
from archive.answers.claim.warranty import warranty
from archive.answers.documents import Attachment, Document, DocumentSection
from archive.answers.photographs import photographs
from archive.answers.wording import ENGLISH, Wording
from archive.version import PROGRAM

Section = Callable[[ClaimFacts, Wording], Iterable[DocumentSection]]


def one(make: Callable[[ClaimFacts, Wording], DocumentSection | None]) -> Section:
    """Of a function that gives one section or None."""

    def listed(facts: ClaimFacts, words: Wording) -> list[DocumentSection]:
        made = make(facts, words)
        return [] if made is None else [made]

    return listed


def accepted_record(facts: ClaimFacts, words: Wording) -> Iterable[DocumentSection]:
    """All that the record that is shown says of itself."""
    return record_pages(facts, facts.standing, words) if facts.standing is not None else ()


def compose(
    facts: ClaimFacts,
    words: Wording = ENGLISH,
    *,
    paper: str = "a4",
    attachments: Sequence[Attachment] = (),
) -> Document:
    """The document. attachments: files that the PDF carries inside."""
    place = ", ".join(x for x in (facts.job.get("site") or facts.place.get("site"), facts.job.get("job_id")) if x)
    return Document(
        title=words("Link {link}", link=facts.link),
        subtitle=place,
        kicker=words("Claim file"),
        date=facts.state[:10],
        sections=list(_sections(facts, words)),
        footer=words(
            "{program}; archive {archive}, state of {state}, head {head}",
            program=PROGRAM,
            archive=facts.archive_id[:12],
            state=words.day(facts.state),
            head=facts.head[:16],
        ),
        language=words.language,
        paper=paper,
        contents=words("Contents"),
        page_of=words("page {page} of {pages}"),
        attachments=attachments,
    )


SECTIONS: tuple[Section, ...] = (
    one(front),
    one(timeline.section),
    one(claim_case.section),
    conflict,
    fresh_test,
    one(sections.all_verdicts),
    optical_tests,
    accepted_record,
    one(applications.section),
    one(sections.history),
    one(sections.neighbours),
    one(warranty),
    one(stated.section),
    one(lambda facts, words: photographs(facts.photographs, words)),
    one(custody),
    method,
)
"""What a claim file says, in this order: each gives its sections, or none. A new one is a function and a line here."""


def _sections(facts: ClaimFacts, words: Wording) -> Iterator[DocumentSection]:
    for section in SECTIONS:
        yield from section(facts, words)
