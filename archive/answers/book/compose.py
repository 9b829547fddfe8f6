"""A book as documents: volumes of at most 200 links, grouped as asked."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import groupby

from archive.answers.book import sections as parts
from archive.answers.book.facts import BookFacts, BookLink
from archive.answers.documents import Document, Section
from archive.answers.wording import ENGLISH, Wording
from archive.errors import Trouble
from archive.version import PROGRAM

VOLUME = 200
SECTIONS = ("summary", "open-points", "schedule", "results", "curves", "instruments", "findings", "proof", "cautions")
_WHOLE = ("summary", "open-points", "schedule", "instruments", "findings", "proof", "cautions")
_PER_LINK = ("results", "curves")


@dataclass(frozen=True)
class Volume:
    """One document of a book and the name of its files, without a suffix."""

    name: str
    document: Document


def asked(words: str | None) -> tuple[str, ...]:
    """The sections somebody asked for, in our order. Errors: Trouble for an unknown one."""
    if not words:
        return tuple(s for s in SECTIONS if s != "curves")
    named = [w.strip() for w in words.split(",") if w.strip()]
    unknown = [w for w in named if w not in SECTIONS]
    if unknown:
        raise Trouble("there is no such section", found=", ".join(unknown), expected=", ".join(SECTIONS))
    return tuple(s for s in SECTIONS if s in named)


def volumes(
    facts: BookFacts,
    wanted: Sequence[str],
    line: parts.LimitLine,
    words: Wording = ENGLISH,
    *,
    per: str = "job",
    paper: str = "a4",
    columns: Sequence[str] = parts.DEFAULT_COLUMNS,
) -> Iterator[Volume]:
    """The volumes, one after the other, so that only one is in memory.

    per: job (all links in order), floor (a volume per floor), link (a volume per link). The first volume holds the
    sections about the whole job; where all links fit, the sections per link follow in the same volume.
    """
    groups = list(_groups(facts, per))
    together = per == "job" and len(groups) <= 1
    whole = [s for s in wanted if s in _WHOLE]
    each = [s for s in wanted if s in _PER_LINK]
    first: list[Section] = []
    for name in whole:
        first.extend(_whole(name, facts, words, columns))
    if together:
        for _, links in groups:
            first.extend(_each(each, facts, links, line, words))
    if first:
        yield Volume("book", _document(facts, words("Hand-over book"), first, words, paper))
    if together or not each:
        return
    for title, links in groups:
        yield Volume(
            file_name(title), _document(facts, title, list(_each(each, facts, links, line, words)), words, paper)
        )


def _groups(facts: BookFacts, per: str) -> Iterator[tuple[str, list[BookLink]]]:
    links = sorted(facts.links, key=lambda x: (x.place, x.label))
    if per == "link":
        for x in links:
            yield x.label, [x]
        return
    if per == "floor":
        for (building, floor), group in groupby(links, key=lambda x: (x.building, x.floor)):
            title = " ".join(t for t in (building and f"building {building}", floor and f"floor {floor}") if t)
            yield from _cut(title or "place not stated", list(group))
        return
    yield from _cut("volume", links)


def _cut(title: str, links: list[BookLink]) -> Iterator[tuple[str, list[BookLink]]]:
    pieces = [links[k : k + VOLUME] for k in range(0, len(links), VOLUME)]
    for k, piece in enumerate(pieces, 1):
        yield (title if len(pieces) == 1 else f"{title} {k}"), piece


def _whole(name: str, facts: BookFacts, words: Wording, columns: Sequence[str]) -> list[Section]:
    if name == "summary":
        return parts.summary(facts, words)
    if name == "open-points":
        return parts.open_points(facts, words)
    if name == "schedule":
        return parts.schedule(facts, facts.links, words, columns)
    if name == "instruments":
        return parts.instruments(facts, words)
    if name == "findings":
        return parts.finding_list(facts, words)
    if name == "proof":
        return parts.proof(facts, words)
    return parts.cautions(facts, words)


def _each(
    names: Sequence[str], facts: BookFacts, links: Sequence[BookLink], line: parts.LimitLine, words: Wording
) -> Iterator[Section]:
    if "results" in names:
        yield from parts.results(facts, links, words)
    if "curves" in names:
        yield from parts.curve_pages(links, line, words)


def _document(facts: BookFacts, title: str, body: list[Section], words: Wording, paper: str) -> Document:
    job = facts.job
    return Document(
        title=title,
        subtitle=", ".join(str(x) for x in (job.get("site"), job.get("job_id")) if x),
        kicker=words("hand-over book"),
        date=facts.state[:10],
        sections=body,
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
    )


def file_name(label: str) -> str:
    """A label as a file name that every system takes. Two labels may share one: the caller numbers them."""
    name = re.sub(r"[^A-Za-z0-9._-]+", "-", label).strip("-.")[:80]
    return name or "link"
