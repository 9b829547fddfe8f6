"""A book as documents: volumes of at most 200 links and a bounded size, grouped as asked."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import groupby

from archive.answers.book import job_sections, link_pages
from archive.answers.book.book_facts import BookFacts, BookLink
from archive.answers.documents import Document, DocumentSection, TableBlock
from archive.answers.photographs import photographs
from archive.answers.translated import translation_note
from archive.answers.wording import ENGLISH, Wording, plain
from archive.errors import Trouble
from archive.store import names
from archive.version import PROGRAM

MOST_LINKS = 200
MOST_BYTES = 32_000_000
"""Bytes of pictures in a volume, so that none of its files comes to 40 MB."""
SECTIONS = ("summary", "open-points", "schedule", "results", "curves", "instruments", "findings", "proof", "cautions")
_EACH = ("results", "curves")


@dataclass(frozen=True)
class Volume:
    """One document of a book and the name of its files, without an ending."""

    name: str
    document: Document


def asked(words: str | None) -> tuple[str, ...]:
    """The sections somebody asked for, in our order. Errors: Trouble for an unknown one."""
    if not words:
        return tuple(s for s in SECTIONS if s != "curves")
    named = [w.strip() for w in words.split(",") if w.strip()]
    unknown = [w for w in named if w not in SECTIONS]
    if unknown:
        raise Trouble(
            "there is no such section",
            code="book.unknown-section",
            found=", ".join(unknown),
            expected=", ".join(SECTIONS),
        )
    return tuple(s for s in SECTIONS if s in named)


def volumes(
    facts: BookFacts,
    wanted: Sequence[str],
    words: Wording = ENGLISH,
    *,
    per: str = "job",
    paper: str = "a4",
    columns: Sequence[str] = (),
) -> Iterator[Volume]:
    """The volumes, one after the other, so that only one is in memory.

    per: job (all links in order), floor (volumes of each floor), link (a volume for each link). The sections about
    the whole job are in the volume "book", which comes last; it holds the links too where one volume takes them all,
    and else a list of the other volumes.
    """
    press = _Press(facts, words, paper)
    parts = [s for s in wanted if s in _EACH]
    body: list[DocumentSection] = []
    listed: list[list[str]] = []
    if parts and facts.links:
        for title, links in _groups(facts.links, per, words):
            cuts = _cut(link_pages.pages(parts, links, facts, words))
            for number, (piece, last) in enumerate(_with_last(cuts), 1):
                if per == "job" and number == 1 and last:
                    body = [link_pages.intro(parts, words), *piece]
                    break
                heading = (
                    title if number == 1 and last else words("{title}, volume {number}", title=title, number=number)
                )
                # A volume of its own begins with its link: beneath the title no whole page is left for it.
                shown = [replace(s, keep=False) for s in piece] if per == "link" else piece
                volume = press.print(heading, [link_pages.intro(parts, words), *shown], file_name(heading))
                listed.append([heading, str(len(piece)), _first_last(piece), f"{volume.name}.pdf"])
                yield volume
    front: list[DocumentSection] = []
    for name in wanted:
        if name not in _EACH:
            front.extend(_whole(name, facts, words, columns))
    if listed:
        head = [words(h) for h in ("volume", "links", "from and to", "file")]
        front.append(
            DocumentSection(words("Volumes"), [TableBlock(head, listed, align="lrll", weights=(1.6, 0, 2.2, 1.6))])
        )
    if front or body:
        job = facts.job
        title = plain(job.get("name")) or plain(job.get("job_id")) or words("Hand-over book")
        yield press.print(title, [*front, *body], "book")


def _groups(links: Sequence[BookLink], per: str, words: Wording) -> Iterator[tuple[str, list[BookLink]]]:
    if per == "link":
        yield from ((x.label, [x]) for x in links)
    elif per == "floor":
        for (building, floor), group in groupby(links, key=lambda x: x.place[:2]):
            yield job_sections.place_name((building, floor), words), list(group)
    else:
        yield words("Links"), list(links)


def _cut(sections: Iterable[DocumentSection]) -> Iterator[list[DocumentSection]]:
    """Sections in pieces that a volume takes."""
    piece: list[DocumentSection] = []
    size = 0
    for section in sections:
        more = link_pages.sized(section)
        if piece and (len(piece) >= MOST_LINKS or size + more > MOST_BYTES):
            yield piece
            piece, size = [], 0
        piece.append(section)
        size += more
    if piece:
        yield piece


def _with_last(pieces: Iterator[list[DocumentSection]]) -> Iterator[tuple[list[DocumentSection], bool]]:
    """Each piece, and whether it is the last; the next one is made only when it is asked for."""
    held = next(pieces, None)
    while held is not None:
        after = next(pieces, None)
        yield held, after is None
        held = after


def _first_last(piece: Sequence[DocumentSection]) -> str:
    return piece[0].title if len(piece) == 1 else f"{piece[0].title} … {piece[-1].title}"


def _whole(name: str, facts: BookFacts, words: Wording, columns: Sequence[str]) -> Iterator[DocumentSection]:
    if name == "schedule":
        yield from job_sections.schedule(facts, words, columns)
    elif name == "cautions":
        yield job_sections.careful(facts, words)
    else:
        made = {
            "summary": job_sections.summary,
            "open-points": job_sections.open_points,
            "instruments": job_sections.instruments,
            "findings": job_sections.findings,
            "proof": job_sections.proof,
        }
        yield made[name](facts, words)
        shown = photographs(facts.photographs, words) if name == "instruments" else None
        if shown is not None:
            yield shown


class _Press:
    """Makes volumes of one book, each under a name of its own."""

    def __init__(self, facts: BookFacts, words: Wording, paper: str) -> None:
        self._facts, self._words, self._paper = facts, words, paper
        self._taken = {"book"}

    def print(self, title: str, body: list[DocumentSection], name: str) -> Volume:
        """One volume."""
        facts, words = self._facts, self._words
        body = [replace(body[0], blocks=[*translation_note(words), *body[0].blocks]), *body[1:]]
        parts = (facts.job.get("site"), facts.job.get("job_id"))
        document = Document(
            title=title,
            subtitle=", ".join(str(x) for x in parts if x and x != title),
            kicker=words("Hand-over book"),
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
            paper=self._paper,
            contents=words("Contents"),
            page_of=words("page {page} of {pages}"),
        )
        return Volume(name if name == "book" else self._free(name), document)

    def _free(self, name: str) -> str:
        """The name, or with a number where it is taken; upper and lower case are one on some disks."""
        free, number = name, 2
        while free.casefold() in self._taken:
            free, number = f"{name}-{number}", number + 1
        self._taken.add(free.casefold())
        return free


def file_name(label: str) -> str:
    """A label as a file name that every system takes; accents go, and what is left over becomes hyphens."""
    kept = unicodedata.normalize("NFKD", label).encode("ascii", "ignore").decode()
    return names.plain(kept) if re.search("[A-Za-z0-9]", kept) else "link"
