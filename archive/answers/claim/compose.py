"""The claim file as a document."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from archive.answers.claim import optics, sections, tables
from archive.answers.claim.claim_facts import ClaimFacts, TestedRecord
from archive.answers.claim.compare import conflict, fresh_test
from archive.answers.claim.curve_figures import figures, line_of
from archive.answers.claim.custody import custody, method
from archive.answers.claim.front import front
from archive.answers.claim.warranty import warranty
from archive.answers.documents import Attachment, Block, Document, DocumentSection, Para
from archive.answers.wording import ENGLISH, Wording
from archive.version import PROGRAM


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
        sections=[s for s in _sections(facts, words) if s is not None],
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


def _sections(facts: ClaimFacts, words: Wording) -> Iterator[DocumentSection | None]:
    yield front(facts, words)
    yield from conflict(facts, words)
    yield from fresh_test(facts, words)
    yield sections.all_verdicts(facts, words)
    s = facts.standing
    if s is not None:
        yield from _measured(s, words)
        yield tables.instruments(facts, s, words)
        yield tables.findings(s, facts.around.findings, words)
    yield sections.history(facts, words)
    yield sections.neighbours(facts, words)
    yield warranty(facts, words)
    yield custody(facts, words)
    yield method(facts, words)


def _measured(s: TestedRecord, words: Wording) -> Iterator[DocumentSection | None]:
    """Curves, worst cases and readings of a record."""
    verdict = s.verdict()
    limit_id = verdict["limit_id"] if verdict else None
    pictures = figures(s.curves or s.batch, s.grades(limit_id), line_of(limit_id), words)
    if pictures:
        intro = words(
            "The thick line is the limit, {limit}. The hatched side fails; the shaded strip is the distance between "
            "the limit and the worst of all curves. A ring marks the smallest margin, and its curve is drawn black. "
            "Peaks far on the good side are cut off at the frame. Where the limit is dashed it leaves points out, for "
            "information only.",
            limit=limit_id,
        )
        plain = words("No limit is known for this record; the curves stand here as measured.")
        blocks: list[Block] = [Para(intro if limit_id else plain, role="small"), *pictures]
        yield DocumentSection(words("Curves"), blocks, new_page=True)
    worst = tables.worst_cases(s, limit_id, words)
    if worst:
        note = words(
            "A margin above zero meets the limit. What the instrument reported stands beside what this program "
            "recomputed; the difference is recomputed minus reported."
        )
        yield DocumentSection(words("Worst cases, recomputed and reported"), [Para(note, role="small")])
        yield from worst
    rest = (tables.scalars(s, words), tables.wire_map(s, words), optics.loss(s, words), optics.events(s, words))
    if any(x is not None for x in rest):
        yield DocumentSection(words("Other measurements"), [])
        yield from rest
