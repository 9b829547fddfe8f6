"""The claim file as a document."""

from __future__ import annotations

from collections.abc import Sequence

from archive.answers.claim import custody, tables
from archive.answers.claim.curves import Line, figures
from archive.answers.claim.facts import ClaimFacts
from archive.answers.claim.front import front
from archive.answers.documents import Attachment, Document, Para, Section
from archive.answers.wording import ENGLISH, Wording
from archive.version import PROGRAM


def compose(
    facts: ClaimFacts,
    line: Line,
    words: Wording = ENGLISH,
    *,
    paper: str = "a4",
    attachments: Sequence[Attachment] = (),
) -> Document:
    """The document. line: the limit that the standing record is drawn against, None where it has none."""
    sections = [front(facts, words)]
    s = facts.standing
    if s is not None:
        first = s.verdict()
        limit_id = first["limit_id"] if first else None
        grades = [g for g in s.rows("grades") if g["limit_id"] == limit_id]
        pictures = figures(s.batch, grades, line, words)
        if pictures:
            intro = words(
                "Thick line: {limit}. The hatched side fails. The shaded strip is the distance between the limit "
                "and the worst curve; a ring marks the smallest margin.",
                limit=limit_id or words("no limit"),
            )
            sections.append(Section(words("Curves"), [Para(intro, role="small"), *pictures], new_page=True))
        worst = tables.worst_cases(s, limit_id, words)
        if worst:
            sections.append(
                Section(
                    words("Worst cases, recomputed and reported"),
                    [
                        Para(
                            words("Positive margins meet the limit; the difference is recomputed minus reported."),
                            role="small",
                        )
                    ],
                )
            )
            sections.extend(worst)
        rest = [x for x in (tables.scalars(s, words), tables.wire_map(s, words)) if x is not None]
        if rest:
            sections.append(Section(words("Other measurements"), []))
            sections.extend(rest)
        sections.append(tables.instruments(facts, s, words))
        sections.append(tables.findings(s, words))
    sections.append(custody.history(facts, words))
    sections.extend(custody.fresh_test(facts, words))
    near = custody.neighbours(facts, words)
    if near is not None:
        sections.append(near)
    sections.append(custody.warranty(facts, words))
    sections.append(custody.custody(facts, words))
    sections.append(custody.method(facts, words))
    place = ", ".join(x for x in (facts.job.get("site") or facts.place.get("site"), facts.job.get("job_id")) if x)
    return Document(
        title=words("Link {link}", link=facts.link),
        subtitle=place + (f" — {facts.reason}" if facts.reason else ""),
        kicker=words("claim file"),
        date=facts.state[:10],
        sections=sections,
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
