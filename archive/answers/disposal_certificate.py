"""The certificate of disposal: which records went, on what ground, named by whom, and what is left of them.

It is made of the ledger and can be made again at any time.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from archive.answers.documents import Block, Code, Document, DocumentSection, FactsBlock, Listing, Para, TableBlock
from archive.answers.translated import translation_note
from archive.answers.wording import ENGLISH, Wording
from archive.store import Archive, LedgerHead
from archive.store.disposal import Disposal
from archive.store.head_digits import grouped
from archive.store.ledger import LedgerEntry


@dataclass(frozen=True)
class CertificateFacts:
    """What a certificate states. days: the day of retention and the end of the warranty as they were stated; deposits:
    id, time, records and root of each; gone: path, size and SHA-256 of each file; head: of the ledger right after."""

    archive: str
    disposal: Disposal
    days: tuple[str | None, str | None]
    deposits: list[tuple[str, str, int, str]]
    gone: list[dict[str, Any]]
    head: LedgerHead


def certificate_facts(archive: Archive, disposal: Disposal) -> CertificateFacts:
    """The facts of a disposal, from the ledger alone but for the reasons given and the days stated."""
    texts = archive.texts(disposal.entry)
    entries = [archive.deposit_entry(name) for name in disposal.entry["deposits"]]
    return CertificateFacts(
        archive.id,
        disposal,
        (texts.get("retain_until"), texts.get("warranty_end")),
        [(e["deposit"], str(e.get("at") or ""), int(e["records"]), str(e["root"])) for e in entries],
        list(disposal.entry["gone"]),
        archive.head(disposal.entry.number + 1),
    )


def compose(facts: CertificateFacts, words: Wording = ENGLISH, *, with_files: bool = True) -> Document:
    """The certificate. with_files: each file that went, with its size and digest."""
    at = str(facts.disposal.entry.get("at") or "")
    sections = [
        DocumentSection("", [*translation_note(words), Para(_lead(facts, words), "lead")]),
        DocumentSection(words("On what ground"), _ground(facts, words)),
        DocumentSection(words("Named by two people"), _people(facts, words)),
        DocumentSection(words("Disposed of"), _went(facts, words)),
        DocumentSection(words("What is left"), [Listing(_left(words))]),
        DocumentSection(words("What a disposal does not reach"), [Listing(_not_reached(words))]),
        DocumentSection(words("The ledger"), _ledger(facts, words)),
    ]
    if with_files:
        sections.append(DocumentSection(words("Files"), _files(facts, words)))
    return Document(
        title=facts.disposal.job,
        subtitle=words("archive {archive}", archive=facts.archive),
        kicker=words("Certificate of disposal"),
        date=at[:10] or "1970-01-01",
        sections=sections,
        language=words.language,
        page_of=words("page {page} of {pages}"),
    )


def _lead(facts: CertificateFacts, words: Wording) -> str:
    entry = facts.disposal.entry
    return words(
        "On {day} the records of job {job} were disposed of by ledger entry {entry}: {records} records in {deposits} "
        "deposits, {files} files with {bytes} bytes.",
        day=words.day(str(entry["at"])[:10]),
        job=facts.disposal.job,
        entry=entry.number,
        records=words.number(entry["count"], 0),
        deposits=words.number(len(facts.deposits), 0),
        files=words.number(len(facts.gone), 0),
        bytes=words.number(sum(g["bytes"] for g in facts.gone), 0),
    )


def _ground(facts: CertificateFacts, words: Wording) -> list[Block]:
    until, warranty = facts.days
    not_stated = words("not stated")
    rows = [
        (words("to be kept until"), words.day(until, empty=words("the text was redacted"))),
        (words("end of the warranty"), words.day(warranty, empty=not_stated)),
    ]
    text = words(
        "When it was approved the job was under no legal hold, no case of it was open, and no other deposit rested on "
        "its records."
    )
    return [FactsBlock(rows), Para(text)]


def _people(facts: CertificateFacts, words: Wording) -> list[Block]:
    d = facts.disposal
    rows = [
        _person(words("proposed"), d.proposal, d.proposed_by, d.proposed_reason, words),
        _person(words("approved"), d.entry, d.approved_by, d.approved_reason, words),
    ]
    head = [words("step"), words("by"), words("on"), words("ledger entry"), words("reason"), words("signature")]
    note = words("Names are as they were stated; a signature shows who holds the key.")
    return [TableBlock(head, rows, "lllrll", weights=(1, 2, 1.4, 1, 2.5, 2)), Para(note, "small")]


def _person(step: str, entry: LedgerEntry, name: str | None, reason: str | None, words: Wording) -> list[str]:
    signed = entry.signed
    key = words("none") if signed is None else words("key {key}", key=signed[0].get("key", "")[:16])
    day = words.day(str(entry.get("at"))[:10])
    return [step, name or words("redacted"), day, str(entry.number), reason or words("none given"), key]


def _went(facts: CertificateFacts, words: Wording) -> list[Block]:
    rows = [[name, words.day(at[:10]), words.number(count, 0), root] for name, at, count, root in facts.deposits]
    head = [words("deposit"), words("deposited"), words("records"), words("root over its records")]
    return [TableBlock(head, rows, "llrl", weights=(2.2, 1.4, 0.8, 4), code=frozenset({3}))]


def _left(words: Wording) -> list[str]:
    return [
        words("The manifests of the deposits: the name and digest of every file that was in them."),
        words("The ledger with the root over the records of each deposit: whoever holds a record can still prove it."),
        words("Facts stated of the job, holds, closed cases, and the reasons given for them."),
        words("What gradings over several jobs said of its records, mappings, and limit lines."),
    ]


def _not_reached(words: Wording) -> list[str]:
    return [
        words("Second copies follow with the next export; copies of the disk that others made do not."),
        words("Indexes in the caches of other users follow with their next question."),
        words("Claim files, books, exports and data that were handed out stay with whoever has them."),
    ]


def _ledger(facts: CertificateFacts, words: Wording) -> list[Block]:
    says = words("ledger head {head} over {size} entries", head=facts.head.root, size=facts.head.size)
    return [Para(says), Para(words("to type:")), Code(grouped(facts.head.root))]


def _files(facts: CertificateFacts, words: Wording) -> list[Block]:
    rows = [[g["path"], f"{g['bytes']:,}", g["sha256"]] for g in facts.gone]
    head = [words("file"), words("bytes"), "SHA-256"]
    return [TableBlock(head, rows, "lrl", weights=(4, 1, 4), code=frozenset({2}))]
