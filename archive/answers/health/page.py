"""The health of an archive as a document."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime

from archive.answers.documents import Block, Document, DocumentSection, Listing, Notice, Para
from archive.answers.health.checks import HealthCheck
from archive.answers.translated import translation_note
from archive.answers.wording import ENGLISH, Wording

_NAMED = 30
"""Things of one kind that are named."""


def compose(checks: Sequence[HealthCheck], archive: str, at: datetime, words: Wording = ENGLISH) -> Document:
    """The page: what needs attention first, then everything by topic."""
    look = [c for c in checks if c.look]
    lead = words("Needs attention: {n} of {all}.", n=len(look), all=len(checks))
    first: list[Block] = [*translation_note(words), Para(lead, "lead")]
    if look:
        first.append(Notice(words("Needs attention"), [c.text for c in look]))
    sections = [DocumentSection("", first)]
    names = {
        "fixity": words("Fixity"),
        "copies": words("Second copies"),
        "signatures": words("Signatures"),
        "stamps": words("Time stamps"),
        "calibrations": words("Calibrations"),
        "warranties": words("Warranties"),
        "jobs": words("Jobs"),
        "cases": words("Cases"),
        "set aside": words("Set aside"),
        "retention": words("Retention and disposal"),
        "events": words("Events"),
    }
    for topic, name in names.items():
        blocks: list[Block] = []
        for c in (c for c in checks if c.topic == topic):
            blocks.append(Para(f"{c.text} {words('It needs attention.')}" if c.look else c.text))
            blocks += _listed(c.items, words)
        sections.append(DocumentSection(name, blocks))
    return Document(
        title=words("Health of the archive"),
        subtitle=archive,
        kicker=words("As of {when} UTC", when=f"{at:%Y-%m-%d %H:%M}"),
        date=at.date().isoformat(),
        sections=[s for s in sections if s.blocks],
        language=words.language,
        page_of=words("page {page} of {pages}"),
        footer=words(
            "Runs of fixity are those that a log names, which anybody may write who may write in the archive; second "
            "copies are those made from this machine. This page looked at no bytes itself: `muniment fixity` does."
        ),
    )


def _listed(items: Sequence[str], words: Wording) -> list[Block]:
    if not items:
        return []
    more = [Para(words("and {n} more", n=len(items) - _NAMED))] if len(items) > _NAMED else []
    return [Listing(list(items[:_NAMED])), *more]
