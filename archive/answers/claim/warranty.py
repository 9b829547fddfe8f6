"""Warranty, and what runs out when."""

from __future__ import annotations

from collections.abc import Iterator

from archive.answers.claim.claim_facts import ClaimFacts
from archive.answers.claim.timing import as_day, span_line, span_text
from archive.answers.documents import Block, DocumentSection, FactsBlock, Para, TableBlock
from archive.answers.filed import document_name
from archive.answers.wording import Wording, plain


def warranty(facts: ClaimFacts, words: Wording) -> DocumentSection:
    """Dates of the job in their order, and what is filed for it."""
    required = plain(facts.job.get("required_limit")) or words("not stated")
    blocks: list[Block] = [
        FactsBlock(
            [
                (words("warranty"), span_line(facts, words) or words("not stated")),
                (words("required limit"), required),
            ]
        )
    ]
    dates = sorted(_dates(facts, words))
    if dates:
        head = [words("day"), words("what"), words("seen from {on}", on=words.day(facts.on))]
        rows = [[words.day(day), what, _seen(day, facts.on, words)] for day, what in dates]
        blocks.append(TableBlock(head, rows, weights=(1.1, 2.4, 2), caption=words("What begins and runs out when")))
    if facts.documents:
        head = [words(h) for h in ("document", "kind", "speaks for", "valid until", "SHA-256")]
        rows = [
            [
                document_name(d, words, "data/"),
                words.term(d.get("kind")),
                plain(d.get("serial") or d.get("link_label") or d.get("job_id")),
                words.day(plain(d.get("valid_until"))),
                plain(d.get("document_id")),
            ]
            for d in facts.documents
        ]
        caption = words("Documents filed for the job and for this link")
        weights = (1.8, 0, 1.3, 1.1, 2.6)
        blocks.append(TableBlock(head, rows, caption=caption, weights=weights, code=frozenset({4})))
    else:
        blocks.append(Para(words("No document is filed for the job or for this link.")))
    return DocumentSection(words("Warranty and documents"), blocks)


def _dates(facts: ClaimFacts, words: Wording) -> Iterator[tuple[str, str]]:
    j = facts.job
    for key, what in (
        ("warranty_start", words("warranty begins")),
        ("warranty_end", words("warranty ends")),
        ("retain_until", words("records are to be kept until this day")),
    ):
        if j.get(key):
            yield str(j[key])[:10], what
    s = facts.standing
    told = set()
    if s is not None:
        if s.record["tested_local"]:
            yield s.record["tested_local"][:10], words("the link is tested")
        for u in s.units.values():
            if u is not None and u["calibration_due"]:
                told.add((u["serial"], u["calibration_due"][:10]))
                serial = plain(u["serial"]) or words("without serial number")
                yield u["calibration_due"][:10], words("calibration of unit {serial} runs out", serial=serial)
    for d in facts.documents:
        if d.get("valid_until") and (d.get("serial"), str(d["valid_until"])[:10]) not in told:
            name = plain(d.get("title") or d.get("file_name"))
            yield str(d["valid_until"])[:10], words("{name} runs out", name=name)


def _seen(day: str, on: str, words: Wording) -> str:
    if as_day(day) is None or day == on:
        return words("this day") if day == on else ""
    if day < on:
        return words("{span} ago", span=span_text(day, on, words))
    return words("in {span}", span=span_text(on, day, words))
